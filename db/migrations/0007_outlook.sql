-- +goose Up

-- An outlook is a thing like any other: the row in outlook says that one was
-- issued at that instant, its versions say what it predicted. The days of a
-- version stand in one row, because they are only ever read together: ten
-- years of daily outlooks are thousands of rows then, not tens of thousands.

CREATE FUNCTION outlook_days_can_be(min_c double precision[], max_c double precision[]) RETURNS boolean
LANGUAGE sql IMMUTABLE
RETURN cardinality(min_c) BETWEEN 1 AND 16
    AND array_ndims(min_c) = 1 AND array_ndims(max_c) = 1
    AND (
        -- unnest fills up the shorter array with NULL; the bounds on both sides
        -- also refuse NaN and the infinities.
        SELECT bool_and(lo IS NOT NULL AND hi IS NOT NULL AND -90 <= lo AND lo <= hi AND hi <= 60)
        FROM unnest(min_c, max_c) AS d (lo, hi)
    );

COMMENT ON FUNCTION outlook_days_can_be IS 'One to sixteen believable days, as many lowest as highest temperatures, °C.';

CREATE TABLE outlook (
    farm       text COLLATE "C" NOT NULL,
    station    text COLLATE "C" NOT NULL,
    issued_at  timestamptz      NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT outlook_pk PRIMARY KEY (farm, station, issued_at),
    CONSTRAINT outlook_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT outlook_issued_check CHECK (issued_at > '-infinity' AND issued_at < 'infinity')
);

COMMENT ON TABLE outlook IS 'The outlooks that were received for a station.';
COMMENT ON COLUMN outlook.issued_at IS 'When the weather service issued it.';

CREATE TABLE outlook_version (
    farm        text COLLATE "C"   NOT NULL,
    station     text COLLATE "C"   NOT NULL,
    issued_at   timestamptz        NOT NULL,
    version     integer            NOT NULL,
    received_at timestamptz        NOT NULL,
    recorded_by text               NOT NULL,
    first_day   date               NOT NULL,
    min_c       double precision[] NOT NULL,
    max_c       double precision[] NOT NULL,
    CONSTRAINT outlook_version_pk PRIMARY KEY (farm, station, issued_at, version),
    CONSTRAINT outlook_version_outlook_fk
        FOREIGN KEY (farm, station, issued_at) REFERENCES outlook (farm, station, issued_at),
    CONSTRAINT outlook_version_version_check CHECK (version >= 1),
    CONSTRAINT outlook_version_range_check
        CHECK ('1700-01-01' <= first_day AND first_day <= DATE '2401-01-01' - cardinality(min_c)),
    -- The first day is the day it was issued on or the one after, and the date
    -- at the farm is at most a day before or after that of UTC.
    CONSTRAINT outlook_version_first_check
        CHECK (first_day - (issued_at AT TIME ZONE 'UTC')::date BETWEEN -1 AND 2),
    CONSTRAINT outlook_version_days_check CHECK (outlook_days_can_be(min_c, max_c))
);

COMMENT ON TABLE outlook_version IS 'What an outlook predicted for consecutive days.';
COMMENT ON COLUMN outlook_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN outlook_version.first_day IS 'Civil date at the station, of the first day.';
COMMENT ON COLUMN outlook_version.min_c IS 'Lowest air temperature of each day, °C.';
COMMENT ON COLUMN outlook_version.max_c IS 'Highest air temperature of each day, °C.';

CREATE TRIGGER outlook_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON outlook
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE outlook ENABLE ALWAYS TRIGGER outlook_append_only;

CREATE TRIGGER outlook_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON outlook_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE outlook_version ENABLE ALWAYS TRIGGER outlook_version_append_only;
