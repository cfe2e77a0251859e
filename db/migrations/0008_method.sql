-- +goose Up

-- The farm is the thing whose versions these are: it has one method at a time,
-- and one that never chose has none here.
CREATE TABLE method_version (
    farm        text COLLATE "C" NOT NULL,
    version     integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    degree_days text             NOT NULL,
    base_c      double precision NOT NULL,
    upper_c     double precision,
    cutoff      text             NOT NULL,
    chosen_by   text             NOT NULL,
    reason      text             NOT NULL,
    CONSTRAINT method_version_pk PRIMARY KEY (farm, version),
    CONSTRAINT method_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT method_version_version_check CHECK (version >= 1),
    CONSTRAINT method_version_degree_days_check CHECK (degree_days IN (
        'average', 'clipped average', 'single triangle', 'double triangle', 'single sine', 'double sine'
    )),
    CONSTRAINT method_version_cutoff_check CHECK (cutoff IN ('none', 'horizontal', 'intermediate', 'vertical')),
    CONSTRAINT method_version_base_check CHECK (-10 <= base_c AND base_c <= 20),
    CONSTRAINT method_version_upper_check CHECK (
        (upper_c IS NULL) = (cutoff = 'none') AND (upper_c IS NULL OR base_c < upper_c AND upper_c <= 60)
    ),
    CONSTRAINT method_version_chosen_by_check CHECK (chosen_by <> '')
);

COMMENT ON TABLE method_version IS 'The methods by which a farm decided to sum heat. The newest one holds.';
COMMENT ON COLUMN method_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN method_version.degree_days IS 'How the heat of a day is summed.';
COMMENT ON COLUMN method_version.base_c IS 'Lower threshold, °C.';
COMMENT ON COLUMN method_version.upper_c IS 'Upper threshold, °C; NULL without a cutoff.';
COMMENT ON COLUMN method_version.cutoff IS 'What heat above the upper threshold does.';
COMMENT ON COLUMN method_version.chosen_by IS 'Who decided: the name of a person or of a key.';
COMMENT ON COLUMN method_version.reason IS 'Why, in their words; may be empty.';

CREATE TRIGGER method_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON method_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE method_version ENABLE ALWAYS TRIGGER method_version_append_only;
