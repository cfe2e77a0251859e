-- +goose Up

-- How farms tell people about their seasons. One version holds all of it.
CREATE TABLE announcing_version (
    farm             text COLLATE "C" NOT NULL,
    version          integer          NOT NULL,
    recorded_at      timestamptz      NOT NULL,
    recorded_by      text             NOT NULL,
    language         text             NOT NULL,
    text_names       text[]           NOT NULL,
    texts            text[]           NOT NULL,
    hours            text             NOT NULL,
    whereabouts      text             NOT NULL,
    phone            text             NOT NULL,
    website          text             NOT NULL,
    public           boolean          NOT NULL,
    public_varieties boolean          NOT NULL,
    public_ahead     boolean          NOT NULL,
    windows          boolean          NOT NULL,
    CONSTRAINT announcing_version_pk PRIMARY KEY (farm, version),
    CONSTRAINT announcing_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT announcing_version_version_check CHECK (version >= 1),
    CONSTRAINT announcing_version_texts_check CHECK (cardinality(text_names) = cardinality(texts))
);

COMMENT ON TABLE announcing_version IS 'How farms tell people about their seasons. The newest version counts. Empty is "not set".';
COMMENT ON COLUMN announcing_version.language IS 'BCP 47 tag; empty: that of the farm''s units.';
COMMENT ON COLUMN announcing_version.text_names IS 'Which texts are the farm''s own.';
COMMENT ON COLUMN announcing_version.texts IS 'The i-th belongs to the i-th name.';
COMMENT ON COLUMN announcing_version.public IS 'Whether anything is public.';
COMMENT ON COLUMN announcing_version.public_varieties IS 'Whether the public sees what is ripe by name.';
COMMENT ON COLUMN announcing_version.public_ahead IS 'Whether the public sees what is expected.';
COMMENT ON COLUMN announcing_version.windows IS 'Whether the calendar shows when varieties are expected.';

CREATE TRIGGER announcing_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON announcing_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE announcing_version ENABLE ALWAYS TRIGGER announcing_version_append_only;
