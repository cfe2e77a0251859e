-- +goose Up

-- As with keys and secret addresses, whom an address was asked for stays as it
-- was; recipients are ended, not deleted.
CREATE TABLE recipient (
    farm         text COLLATE "C" NOT NULL,
    id           text COLLATE "C" NOT NULL,
    address      text             NOT NULL,
    asked_at     timestamptz      NOT NULL,
    asked_by     text             NOT NULL,
    confirmed_at timestamptz,
    ended_at     timestamptz,
    ended_by     text,
    CONSTRAINT recipient_pk PRIMARY KEY (farm, id),
    CONSTRAINT recipient_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT recipient_id_check CHECK (id <> ''),
    CONSTRAINT recipient_address_check CHECK (length(address) <= 254 AND address ~ '^[!-~]+@[!-~]+$'),
    CONSTRAINT recipient_ended_check CHECK ((ended_at IS NULL) = (ended_by IS NULL))
);

CREATE UNIQUE INDEX recipient_address_idx ON recipient (farm, lower(address)) WHERE ended_at IS NULL;

COMMENT ON TABLE recipient IS 'Addresses that a farm''s morning mail goes to.';
COMMENT ON COLUMN recipient.asked_by IS 'Who gave the address, in words: the name of a key.';
COMMENT ON COLUMN recipient.confirmed_at IS 'By the reader; NULL: not, and nothing but the question goes there.';
COMMENT ON COLUMN recipient.ended_at IS 'Nothing goes there from then on; NULL: it was not ended.';
COMMENT ON COLUMN recipient.ended_by IS 'In words: the name of a key, or the reader.';

-- The outbox. A try is recorded before it is made, so that of all instances one
-- makes it, and its answer afterwards. A try without an answer was cut off: it
-- may have arrived, and is not made again.
CREATE TABLE mail_try (
    farm       text COLLATE "C" NOT NULL,
    recipient  text COLLATE "C" NOT NULL,
    kind       text             NOT NULL,
    day        date             NOT NULL,
    try        integer          NOT NULL,
    hash       bytea            NOT NULL,
    started_at timestamptz      NOT NULL,
    CONSTRAINT mail_try_pk PRIMARY KEY (farm, recipient, kind, day, try),
    CONSTRAINT mail_try_hash_key UNIQUE (hash),
    CONSTRAINT mail_try_recipient_fk FOREIGN KEY (farm, recipient) REFERENCES recipient (farm, id),
    CONSTRAINT mail_try_kind_check CHECK (kind IN ('ask', 'morning')),
    CONSTRAINT mail_try_try_check CHECK (try >= 1),
    CONSTRAINT mail_try_hash_check CHECK (length(hash) = 32)
);

COMMENT ON TABLE mail_try IS 'Attempts to send a mail; of each kind, recipient and day one is sent.';
COMMENT ON COLUMN mail_try.day IS 'At the farm.';
COMMENT ON COLUMN mail_try.hash IS 'SHA-256 of the secret in its link, by which a reader confirms or leaves; the secret is not kept.';

CREATE TABLE mail_answer (
    farm        text COLLATE "C" NOT NULL,
    recipient   text COLLATE "C" NOT NULL,
    kind        text             NOT NULL,
    day         date             NOT NULL,
    try         integer          NOT NULL,
    answered_at timestamptz      NOT NULL,
    outcome     text             NOT NULL,
    code        integer          NOT NULL,
    detail      text             NOT NULL,
    next_at     timestamptz,
    CONSTRAINT mail_answer_pk PRIMARY KEY (farm, recipient, kind, day, try),
    CONSTRAINT mail_answer_try_fk FOREIGN KEY (farm, recipient, kind, day, try) REFERENCES mail_try (farm, recipient, kind, day, try),
    CONSTRAINT mail_answer_outcome_check CHECK (outcome IN ('sent', 'later', 'refused', 'uncertain')),
    CONSTRAINT mail_answer_next_check CHECK (next_at IS NULL OR outcome = 'later')
);

COMMENT ON TABLE mail_answer IS 'What came of each attempt.';
COMMENT ON COLUMN mail_answer.code IS 'SMTP; 0: the server gave none.';
COMMENT ON COLUMN mail_answer.detail IS 'What the server said, or what failed.';
COMMENT ON COLUMN mail_answer.next_at IS 'When it is tried again; NULL: never.';

CREATE TRIGGER recipient_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF farm, id, address, asked_at, asked_by ON recipient
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE recipient ENABLE ALWAYS TRIGGER recipient_append_only;

CREATE TRIGGER mail_try_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON mail_try
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE mail_try ENABLE ALWAYS TRIGGER mail_try_append_only;

CREATE TRIGGER mail_answer_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON mail_answer
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE mail_answer ENABLE ALWAYS TRIGGER mail_answer_append_only;
