-- +goose Up

-- A person is a key with a name, a role and a farm, like a program; what a
-- person holds is a cookie instead of the key. As with keys, these tables are
-- not history: their rows are ended, not deleted, and a used link is used at
-- once for everybody.
CREATE TABLE sign_in_link (
    hash       bytea            NOT NULL,
    api_key    text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    created_by text             NOT NULL,
    expires_at timestamptz      NOT NULL,
    used_at    timestamptz,
    CONSTRAINT sign_in_link_pk PRIMARY KEY (hash),
    CONSTRAINT sign_in_link_api_key_fk FOREIGN KEY (api_key) REFERENCES api_key (id),
    CONSTRAINT sign_in_link_hash_check CHECK (length(hash) = 32)
);

COMMENT ON TABLE sign_in_link IS 'Links that open one session each.';
COMMENT ON COLUMN sign_in_link.hash IS 'SHA-256 of the link''s secret, which is not kept.';
COMMENT ON COLUMN sign_in_link.created_by IS 'Who made it, in words: the name of a key or a command.';
COMMENT ON COLUMN sign_in_link.used_at IS 'It opens nothing from then on; NULL: not yet.';

CREATE TABLE session (
    hash         bytea            NOT NULL,
    api_key      text COLLATE "C" NOT NULL,
    created_at   timestamptz      NOT NULL,
    expires_at   timestamptz      NOT NULL,
    ended_at     timestamptz,
    last_used_at timestamptz      NOT NULL,
    CONSTRAINT session_pk PRIMARY KEY (hash),
    CONSTRAINT session_api_key_fk FOREIGN KEY (api_key) REFERENCES api_key (id),
    CONSTRAINT session_hash_check CHECK (length(hash) = 32)
);

CREATE INDEX session_api_key_idx ON session (api_key);

COMMENT ON TABLE session IS 'Who is signed in in a browser.';
COMMENT ON COLUMN session.hash IS 'SHA-256 of the cookie, which is not kept.';
COMMENT ON COLUMN session.expires_at IS 'It opens nothing from then on.';
COMMENT ON COLUMN session.ended_at IS 'Signed out; NULL: not.';
COMMENT ON COLUMN session.last_used_at IS 'To about a minute.';

CREATE TRIGGER sign_in_link_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF hash, api_key, created_at, created_by, expires_at ON sign_in_link
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE sign_in_link ENABLE ALWAYS TRIGGER sign_in_link_append_only;

CREATE TRIGGER session_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF hash, api_key, created_at, expires_at ON session
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE session ENABLE ALWAYS TRIGGER session_append_only;
