-- +goose Up

-- As with keys, what an address is stays as it was made; addresses are revoked,
-- not deleted, and when one was last used matters only as the last time.
CREATE TABLE subscription (
    farm         text COLLATE "C" NOT NULL,
    id           text COLLATE "C" NOT NULL,
    name         text             NOT NULL,
    hash         bytea            NOT NULL,
    made_at      timestamptz      NOT NULL,
    made_by      text             NOT NULL,
    last_used_at timestamptz,
    revoked_at   timestamptz,
    revoked_by   text,
    CONSTRAINT subscription_pk PRIMARY KEY (farm, id),
    CONSTRAINT subscription_hash_key UNIQUE (hash),
    CONSTRAINT subscription_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT subscription_id_check CHECK (id <> ''),
    CONSTRAINT subscription_name_check CHECK (name <> ''),
    CONSTRAINT subscription_hash_check CHECK (length(hash) = 32),
    CONSTRAINT subscription_revoked_check CHECK ((revoked_at IS NULL) = (revoked_by IS NULL))
);

COMMENT ON TABLE subscription IS 'Secret addresses at which a farm''s calendar and its feed of changes are read without a key.';
COMMENT ON COLUMN subscription.name IS 'Whom it was made for.';
COMMENT ON COLUMN subscription.hash IS 'SHA-256 of the secret, which is not kept.';
COMMENT ON COLUMN subscription.made_by IS 'Who made it, in words: the name of a key.';
COMMENT ON COLUMN subscription.last_used_at IS 'To about a minute; NULL: never.';
COMMENT ON COLUMN subscription.revoked_at IS 'It opens nothing from then on; NULL: it was not revoked.';

CREATE TRIGGER subscription_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF farm, id, name, hash, made_at, made_by ON subscription
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE subscription ENABLE ALWAYS TRIGGER subscription_append_only;
