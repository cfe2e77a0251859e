-- +goose Up

-- The one table that is not led by the farm, because a key is looked up by its
-- hash before anybody knows whose it is, and some belong to no farm; and the
-- one table whose rows change, because a key is not history: revoking must
-- take effect at once, and when a key was last used matters only as the last
-- time. What a key is stays as it was made, and keys are revoked, not deleted.
CREATE TABLE api_key (
    id           text COLLATE "C" NOT NULL,
    farm         text COLLATE "C",
    role         text             NOT NULL,
    name         text             NOT NULL,
    hash         bytea            NOT NULL,
    created_at   timestamptz      NOT NULL,
    expires_at   timestamptz,
    revoked_at   timestamptz,
    last_used_at timestamptz,
    CONSTRAINT api_key_pk PRIMARY KEY (id),
    CONSTRAINT api_key_hash_key UNIQUE (hash),
    CONSTRAINT api_key_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT api_key_id_check CHECK (id <> ''),
    CONSTRAINT api_key_role_check CHECK (role IN ('owner', 'grower', 'reader')),
    CONSTRAINT api_key_name_check CHECK (name <> ''),
    CONSTRAINT api_key_hash_check CHECK (length(hash) = 32)
);

CREATE INDEX api_key_farm_idx ON api_key (farm);

COMMENT ON TABLE api_key IS 'Who may do what.';
COMMENT ON COLUMN api_key.farm IS 'The farm that the key belongs to; NULL: the installation.';
COMMENT ON COLUMN api_key.hash IS 'SHA-256 of the key, which is not kept.';
COMMENT ON COLUMN api_key.expires_at IS 'It opens nothing from then on; NULL: never.';
COMMENT ON COLUMN api_key.last_used_at IS 'To about a minute; NULL: never.';

CREATE TRIGGER api_key_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF id, farm, role, name, hash, created_at, expires_at ON api_key
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE api_key ENABLE ALWAYS TRIGGER api_key_append_only;
