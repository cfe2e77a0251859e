-- +goose Up

-- How the tables are made.
--
-- Farm first. Every table but api_key is led by the slug of the farm, in its
-- key and in its foreign keys, so that many farms share a database, one farm's
-- rows lie together, and a distributed PostgreSQL can be sharded by farm.
-- Slugs compare by byte (COLLATE "C"): their order is the same everywhere.
--
-- Append-only. A thing (farm, station, variety, planting) is a row that says
-- that it exists; what is known of it are its versions, 1, 2, 3 …, of which
-- the highest counts, or the highest recorded by an instant in the past.
-- Nothing is updated or deleted; the trigger of each table sees to that, for
-- superusers and replication roles too (ENABLE ALWAYS). Writers of one thing
-- wait for each other at the thing's row.
--
-- Units stand in the column's name or comment; instants are timestamptz.
-- Foreign keys need no index on the side that refers: the side referred to
-- never loses a row.

-- +goose StatementBegin
CREATE FUNCTION refuse_change() RETURNS trigger
LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation',
              SCHEMA = TG_TABLE_SCHEMA,
              TABLE = TG_TABLE_NAME,
              HINT = 'A correction is a new row.';
END
$$;
-- +goose StatementEnd

COMMENT ON FUNCTION refuse_change IS 'Keeps what was recorded as it was recorded.';

CREATE TABLE farm (
    farm       text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT farm_pk PRIMARY KEY (farm),
    CONSTRAINT farm_slug_check CHECK (farm ~ '^[a-z0-9][a-z0-9_-]{0,63}$')
);

COMMENT ON TABLE farm IS 'The farms there are.';
COMMENT ON COLUMN farm.farm IS 'Slug.';

CREATE TABLE farm_version (
    farm                text COLLATE "C" NOT NULL,
    version             integer          NOT NULL,
    recorded_at         timestamptz      NOT NULL,
    recorded_by         text             NOT NULL,
    name                text             NOT NULL,
    latitude            double precision NOT NULL,
    longitude           double precision NOT NULL,
    time_zone           text             NOT NULL,
    units               text             NOT NULL,
    thin_kg_per_day     double precision,
    gap_probability     double precision,
    opening_ready_kg    double precision,
    opening_ready_share double precision,
    opening_confidence  double precision,
    opening_weekdays    smallint[],
    opening_notice_days integer,
    CONSTRAINT farm_version_pk PRIMARY KEY (farm, version),
    CONSTRAINT farm_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT farm_version_version_check CHECK (version >= 1),
    CONSTRAINT farm_version_name_check CHECK (name <> ''),
    CONSTRAINT farm_version_latitude_check CHECK (-90 <= latitude AND latitude <= 90),
    CONSTRAINT farm_version_longitude_check CHECK (-180 <= longitude AND longitude <= 180),
    CONSTRAINT farm_version_time_zone_check CHECK (time_zone <> ''),
    CONSTRAINT farm_version_units_check CHECK (units IN ('metric', 'us')),
    CONSTRAINT farm_version_thin_check CHECK (0 < thin_kg_per_day AND thin_kg_per_day < 'Infinity'),
    CONSTRAINT farm_version_gap_check CHECK (0 < gap_probability AND gap_probability <= 1),
    CONSTRAINT farm_version_ready_kg_check CHECK (0 < opening_ready_kg AND opening_ready_kg < 'Infinity'),
    CONSTRAINT farm_version_ready_share_check CHECK (0 < opening_ready_share AND opening_ready_share <= 1),
    CONSTRAINT farm_version_confidence_check CHECK (0 < opening_confidence AND opening_confidence <= 1),
    CONSTRAINT farm_version_weekdays_check CHECK (opening_weekdays <@ '{0,1,2,3,4,5,6}'::smallint[]),
    CONSTRAINT farm_version_notice_check CHECK (opening_notice_days > 0)
);

COMMENT ON TABLE farm_version IS 'What was known of a farm. NULL is "not set".';
COMMENT ON COLUMN farm_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN farm_version.latitude IS 'Degrees north.';
COMMENT ON COLUMN farm_version.longitude IS 'Degrees east.';
COMMENT ON COLUMN farm_version.time_zone IS 'Name in the IANA database.';
COMMENT ON COLUMN farm_version.units IS 'Units in which people read; records are metric.';
COMMENT ON COLUMN farm_version.thin_kg_per_day IS 'Least ripe fruit standing that serves the crowd, kg.';
COMMENT ON COLUMN farm_version.gap_probability IS 'Probability from which a gap is reported, 0 to 1.';
COMMENT ON COLUMN farm_version.opening_ready_kg IS 'Ripe fruit standing that is enough to open, kg.';
COMMENT ON COLUMN farm_version.opening_ready_share IS 'Share of the first variety''s crop that is enough to open, 0 to 1.';
COMMENT ON COLUMN farm_version.opening_confidence IS 'Probability of being ready that the farm wants, 0 to 1.';
COMMENT ON COLUMN farm_version.opening_weekdays IS 'Days on which the farm opens, 0 is Sunday; NULL: every day.';
COMMENT ON COLUMN farm_version.opening_notice_days IS 'Notice before opening, days.';

CREATE TRIGGER farm_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON farm
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE farm ENABLE ALWAYS TRIGGER farm_append_only;

CREATE TRIGGER farm_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON farm_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE farm_version ENABLE ALWAYS TRIGGER farm_version_append_only;
