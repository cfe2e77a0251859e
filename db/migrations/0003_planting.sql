-- +goose Up

CREATE TABLE variety (
    farm       text COLLATE "C" NOT NULL,
    variety    text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT variety_pk PRIMARY KEY (farm, variety),
    CONSTRAINT variety_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT variety_slug_check CHECK (variety ~ '^[a-z0-9][a-z0-9_-]{0,63}$')
);

COMMENT ON TABLE variety IS 'The cultivars that a farm grows or grew.';
COMMENT ON COLUMN variety.variety IS 'Slug, unique within the farm.';

CREATE TABLE variety_version (
    farm                       text COLLATE "C" NOT NULL,
    variety                    text COLLATE "C" NOT NULL,
    version                    integer          NOT NULL,
    recorded_at                timestamptz      NOT NULL,
    recorded_by                text             NOT NULL,
    name                       text             NOT NULL,
    ripens                     text             NOT NULL,
    first_ripe_degree_days     double precision,
    peak_degree_days           double precision,
    last_pick_degree_days      double precision,
    method                     text,
    base_c                     double precision,
    upper_c                    double precision,
    cutoff                     text,
    CONSTRAINT variety_version_pk PRIMARY KEY (farm, variety, version),
    CONSTRAINT variety_version_variety_fk FOREIGN KEY (farm, variety) REFERENCES variety (farm, variety),
    CONSTRAINT variety_version_version_check CHECK (version >= 1),
    CONSTRAINT variety_version_name_check CHECK (name <> ''),
    CONSTRAINT variety_version_ripens_check
        CHECK (ripens IN ('early', 'early_mid', 'mid', 'late_mid', 'late', 'very_late')),
    -- A requirement means nothing without the whole of its method.
    CONSTRAINT variety_version_requirement_check CHECK (
        num_nonnulls(first_ripe_degree_days, peak_degree_days, last_pick_degree_days, method, base_c, cutoff) IN (0, 6)
        AND (upper_c IS NULL) = (cutoff IS NULL OR cutoff = 'none')
    ),
    CONSTRAINT variety_version_degree_days_check CHECK (
        0 < first_ripe_degree_days AND first_ripe_degree_days < peak_degree_days
        AND peak_degree_days < last_pick_degree_days AND last_pick_degree_days < 'Infinity'
    ),
    CONSTRAINT variety_version_method_check CHECK (method IN (
        'average', 'clipped average', 'single triangle', 'double triangle', 'single sine', 'double sine'
    )),
    CONSTRAINT variety_version_cutoff_check CHECK (cutoff IN ('none', 'horizontal', 'intermediate', 'vertical')),
    CONSTRAINT variety_version_thresholds_check CHECK (-90 <= base_c AND base_c <= 60 AND base_c < upper_c AND upper_c <= 60)
);

COMMENT ON TABLE variety_version IS 'What was known of a variety. The requirement is the farm''s own belief, NULL: none.';
COMMENT ON COLUMN variety_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN variety_version.ripens IS 'How early it ripens among June-bearers.';
COMMENT ON COLUMN variety_version.first_ripe_degree_days IS 'Heat from bloom to 5 % of the crop ripe, °C·d.';
COMMENT ON COLUMN variety_version.peak_degree_days IS 'Heat from bloom to the densest day, °C·d.';
COMMENT ON COLUMN variety_version.last_pick_degree_days IS 'Heat from bloom to 95 % of the crop ripe, °C·d.';
COMMENT ON COLUMN variety_version.method IS 'How the heat of a day is summed.';
COMMENT ON COLUMN variety_version.base_c IS 'Lower threshold, °C.';
COMMENT ON COLUMN variety_version.upper_c IS 'Upper threshold, °C; NULL without a cutoff.';
COMMENT ON COLUMN variety_version.cutoff IS 'What heat above the upper threshold does.';

CREATE TABLE planting (
    farm       text COLLATE "C" NOT NULL,
    planting   text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT planting_pk PRIMARY KEY (farm, planting),
    CONSTRAINT planting_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT planting_slug_check CHECK (planting ~ '^[a-z0-9][a-z0-9_-]{0,63}$')
);

COMMENT ON TABLE planting IS 'What forecasts are about: one variety in one block since a date.';
COMMENT ON COLUMN planting.planting IS 'Slug, unique within the farm.';

CREATE TABLE planting_version (
    farm               text COLLATE "C" NOT NULL,
    planting           text COLLATE "C" NOT NULL,
    version            integer          NOT NULL,
    recorded_at        timestamptz      NOT NULL,
    recorded_by        text             NOT NULL,
    variety            text COLLATE "C" NOT NULL,
    block              text             NOT NULL,
    station            text COLLATE "C" NOT NULL,
    planted_on         date             NOT NULL,
    removed_on         date,
    area_m2            double precision NOT NULL,
    expected_kg_per_m2 double precision NOT NULL,
    CONSTRAINT planting_version_pk PRIMARY KEY (farm, planting, version),
    CONSTRAINT planting_version_planting_fk FOREIGN KEY (farm, planting) REFERENCES planting (farm, planting),
    CONSTRAINT planting_version_variety_fk FOREIGN KEY (farm, variety) REFERENCES variety (farm, variety),
    CONSTRAINT planting_version_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT planting_version_version_check CHECK (version >= 1),
    CONSTRAINT planting_version_block_check CHECK (block <> ''),
    CONSTRAINT planting_version_planted_check CHECK ('1700-01-01' <= planted_on AND planted_on <= '2400-12-31'),
    CONSTRAINT planting_version_removed_check CHECK (planted_on <= removed_on AND removed_on <= '2400-12-31'),
    CONSTRAINT planting_version_area_check CHECK (0 < area_m2 AND area_m2 < 'Infinity'),
    CONSTRAINT planting_version_expected_check CHECK (0 < expected_kg_per_m2 AND expected_kg_per_m2 < 'Infinity')
);

COMMENT ON TABLE planting_version IS 'What was known of a planting.';
COMMENT ON COLUMN planting_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN planting_version.block IS 'Piece of ground managed as one; a free name.';
COMMENT ON COLUMN planting_version.station IS 'Station whose heat it is reckoned with.';
COMMENT ON COLUMN planting_version.planted_on IS 'Civil date at the farm.';
COMMENT ON COLUMN planting_version.removed_on IS 'Civil date at the farm; NULL while it stands.';
COMMENT ON COLUMN planting_version.area_m2 IS 'Area, m².';
COMMENT ON COLUMN planting_version.expected_kg_per_m2 IS 'Yield expected of a season, kg/m².';

CREATE TRIGGER variety_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON variety
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE variety ENABLE ALWAYS TRIGGER variety_append_only;

CREATE TRIGGER variety_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON variety_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE variety_version ENABLE ALWAYS TRIGGER variety_version_append_only;

CREATE TRIGGER planting_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON planting
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE planting ENABLE ALWAYS TRIGGER planting_append_only;

CREATE TRIGGER planting_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON planting_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE planting_version ENABLE ALWAYS TRIGGER planting_version_append_only;
