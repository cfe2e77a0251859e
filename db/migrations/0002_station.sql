-- +goose Up

CREATE TABLE station (
    farm       text COLLATE "C" NOT NULL,
    station    text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT station_pk PRIMARY KEY (farm, station),
    CONSTRAINT station_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT station_slug_check CHECK (station ~ '^[a-z0-9][a-z0-9_-]{0,63}$')
);

COMMENT ON TABLE station IS 'The places where a farm''s temperature is measured.';
COMMENT ON COLUMN station.station IS 'Slug, unique within the farm.';

CREATE TABLE station_version (
    farm        text COLLATE "C" NOT NULL,
    station     text COLLATE "C" NOT NULL,
    version     integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    name        text             NOT NULL,
    latitude    double precision NOT NULL,
    longitude   double precision NOT NULL,
    elevation_m double precision NOT NULL,
    stand_in    text COLLATE "C",
    CONSTRAINT station_version_pk PRIMARY KEY (farm, station, version),
    CONSTRAINT station_version_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT station_version_stand_in_fk FOREIGN KEY (farm, stand_in) REFERENCES station (farm, station),
    CONSTRAINT station_version_version_check CHECK (version >= 1),
    CONSTRAINT station_version_name_check CHECK (name <> ''),
    CONSTRAINT station_version_latitude_check CHECK (-90 <= latitude AND latitude <= 90),
    CONSTRAINT station_version_longitude_check CHECK (-180 <= longitude AND longitude <= 180),
    CONSTRAINT station_version_elevation_check CHECK (-450 <= elevation_m AND elevation_m <= 6000),
    CONSTRAINT station_version_stand_in_check CHECK (stand_in <> station)
);

COMMENT ON TABLE station_version IS 'What was known of a station.';
COMMENT ON COLUMN station_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN station_version.latitude IS 'Degrees north.';
COMMENT ON COLUMN station_version.longitude IS 'Degrees east.';
COMMENT ON COLUMN station_version.elevation_m IS 'Height above sea level, m.';
COMMENT ON COLUMN station_version.stand_in IS 'Station that stands in for the holes of this one; NULL: none.';

-- The largest table by far. No heat is stored in it: degree-days depend on a
-- method, and are summed faster than they are read.
--
-- That a day's station exists is checked once for a statement, by the trigger
-- below, and not once for a row by a foreign key, which took more than half of
-- the time of a load. It is as safe: stations are never deleted.
CREATE TABLE station_day (
    farm        text COLLATE "C" NOT NULL,
    station     text COLLATE "C" NOT NULL,
    day         date             NOT NULL,
    revision    integer          NOT NULL,
    min_c       double precision NOT NULL,
    max_c       double precision NOT NULL,
    source      text             NOT NULL,
    received_at timestamptz      NOT NULL,
    CONSTRAINT station_day_pk PRIMARY KEY (farm, station, day, revision),
    CONSTRAINT station_day_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    CONSTRAINT station_day_revision_check CHECK (revision >= 1),
    -- The bounds on both sides also refuse NaN, which PostgreSQL sorts above
    -- every number, and the infinities.
    CONSTRAINT station_day_temperature_check CHECK (-90 <= min_c AND min_c <= max_c AND max_c <= 60)
);

COMMENT ON TABLE station_day IS 'Lowest and highest air temperature of a civil date. The highest revision of a day counts.';
COMMENT ON COLUMN station_day.day IS 'Civil date at the station.';
COMMENT ON COLUMN station_day.revision IS '1 as first received, 2 the first correction, and so on.';
COMMENT ON COLUMN station_day.min_c IS 'Lowest air temperature, °C.';
COMMENT ON COLUMN station_day.max_c IS 'Highest air temperature, °C.';
COMMENT ON COLUMN station_day.source IS 'Where the values came from, in words.';

-- +goose StatementBegin
CREATE FUNCTION check_station_of_days() RETURNS trigger
LANGUAGE plpgsql SET search_path FROM CURRENT AS $$
DECLARE
    missing record;
BEGIN
    SELECT a.farm, a.station INTO missing
    FROM (SELECT DISTINCT farm, station FROM added) AS a
    WHERE NOT EXISTS (
        SELECT FROM station AS s
        WHERE s.farm = a.farm AND s.station = a.station
    )
    LIMIT 1;
    IF FOUND THEN
        RAISE EXCEPTION 'station_day refers to the station (%, %), which does not exist', missing.farm, missing.station
            USING ERRCODE = 'foreign_key_violation',
                  SCHEMA = TG_TABLE_SCHEMA,
                  TABLE = TG_TABLE_NAME,
                  CONSTRAINT = 'station_day_station_fk';
    END IF;
    RETURN NULL;
END
$$;
-- +goose StatementEnd

COMMENT ON FUNCTION check_station_of_days IS 'The foreign key of station_day, checked once for a statement.';

CREATE TRIGGER station_day_station_fk
AFTER INSERT ON station_day
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION check_station_of_days();

CREATE TRIGGER station_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON station
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE station ENABLE ALWAYS TRIGGER station_append_only;

CREATE TRIGGER station_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON station_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE station_version ENABLE ALWAYS TRIGGER station_version_append_only;

CREATE TRIGGER station_day_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON station_day
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE station_day ENABLE ALWAYS TRIGGER station_day_append_only;
