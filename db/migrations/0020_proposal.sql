-- +goose Up

CREATE TABLE proposal_version (
    farm       text COLLATE "C" NOT NULL,
    proposal   text COLLATE "C" NOT NULL,
    version    integer          NOT NULL,
    decided_at timestamptz      NOT NULL,
    decided_by text             NOT NULL,
    state      text             NOT NULL,
    kind       text             NOT NULL,
    subject    text COLLATE "C" NOT NULL,
    was        jsonb            NOT NULL,
    becomes    jsonb            NOT NULL,
    told       text             NOT NULL,
    reason     text             NOT NULL,
    CONSTRAINT proposal_version_pk PRIMARY KEY (farm, proposal, version),
    CONSTRAINT proposal_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT proposal_version_version_check CHECK (version >= 1),
    CONSTRAINT proposal_version_state_check CHECK (state IN ('accepted', 'declined', 'taken back')),
    CONSTRAINT proposal_version_kind_check CHECK (kind IN ('method', 'requirement', 'yield')),
    CONSTRAINT proposal_version_subject_check CHECK ((subject = '') = (kind = 'method')),
    CONSTRAINT proposal_version_value_check CHECK (jsonb_typeof(was) = 'object' AND jsonb_typeof(becomes) = 'object'),
    CONSTRAINT proposal_version_taken_back_check CHECK (state <> 'taken back' OR version >= 2),
    CONSTRAINT proposal_version_reason_check CHECK (char_length(reason) <= 200)
);

COMMENT ON TABLE proposal_version IS 'What people decided about constants that past seasons proposed. The newest version of a proposal counts.';
COMMENT ON COLUMN proposal_version.proposal IS 'Names the kind, the subject and the value that was proposed.';
COMMENT ON COLUMN proposal_version.decided_by IS 'Who decided, in words: the name of a key.';
COMMENT ON COLUMN proposal_version.subject IS 'The variety of a requirement, the planting of a yield; empty for the method.';
COMMENT ON COLUMN proposal_version.was IS 'The value before, to take a decision back to: kg/m², °C·d with their method, or a method.';
COMMENT ON COLUMN proposal_version.becomes IS 'The value that was proposed; empty for a requirement that is dropped.';
COMMENT ON COLUMN proposal_version.told IS 'The proposal as it was told then, with its effect on past seasons.';

CREATE TRIGGER proposal_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON proposal_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE proposal_version ENABLE ALWAYS TRIGGER proposal_version_append_only;
