-- +goose Up

-- What a source says of a day besides its extremes. A constant default is kept
-- in the catalogue, so the largest table is not written anew.
ALTER TABLE station_day
    ADD COLUMN flag text NOT NULL DEFAULT '',
    ADD COLUMN hour smallint NOT NULL DEFAULT 0,
    ADD CONSTRAINT station_day_flag_check CHECK (octet_length(flag) <= 80),
    ADD CONSTRAINT station_day_hour_check CHECK (0 <= hour AND hour <= 24);

COMMENT ON COLUMN station_day.flag IS 'In what the day failed the source''s own tests, in words; empty: in nothing.';
COMMENT ON COLUMN station_day.hour IS 'Local hour at which the thermometers were read, 1 to 24; 0: not told.';

ALTER TABLE station_version
    ADD COLUMN suspects text NOT NULL DEFAULT 'leave_out',
    ADD CONSTRAINT station_version_suspects_check CHECK (suspects IN ('leave_out', 'use'));

COMMENT ON COLUMN station_version.suspects IS 'What is done with days that a test doubts and nobody has judged.';

-- When a station's thermometers are read decides to which civil day a highest
-- temperature belongs. The setting is one thing, so a version holds all of it.
CREATE TABLE reading_hours_version (
    farm        text COLLATE "C" NOT NULL,
    station     text COLLATE "C" NOT NULL,
    version     integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    from_day    date[]           NOT NULL,
    hour        smallint[]       NOT NULL,
    CONSTRAINT reading_hours_version_pk PRIMARY KEY (farm, station, version),
    CONSTRAINT reading_hours_version_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT reading_hours_version_version_check CHECK (version >= 1),
    CONSTRAINT reading_hours_version_hours_check CHECK (
        cardinality(from_day) = cardinality(hour) AND cardinality(hour) <= 100
        AND 1 <= ALL (hour) AND 24 >= ALL (hour)
        AND '1700-01-01' <= ALL (from_day) AND '2400-12-31' >= ALL (from_day)
    )
);

COMMENT ON TABLE reading_hours_version IS 'At which local hour the thermometers were read, each from a date on.';
COMMENT ON COLUMN reading_hours_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN reading_hours_version.from_day IS 'First date on which the hour holds, rising.';
COMMENT ON COLUMN reading_hours_version.hour IS '1 to 24; 24 is midnight: the day is the civil day.';

-- What a person says of a day that a test doubts.
CREATE TABLE day_verdict_version (
    farm        text COLLATE "C" NOT NULL,
    station     text COLLATE "C" NOT NULL,
    day         date             NOT NULL,
    version     integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    verdict     text             NOT NULL,
    judged_by   text             NOT NULL,
    note        text             NOT NULL,
    CONSTRAINT day_verdict_version_pk PRIMARY KEY (farm, station, day, version),
    CONSTRAINT day_verdict_version_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT day_verdict_version_version_check CHECK (version >= 1),
    CONSTRAINT day_verdict_version_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    CONSTRAINT day_verdict_version_verdict_check CHECK (verdict IN ('use', 'leave_out', 'none')),
    CONSTRAINT day_verdict_version_judged_by_check CHECK (judged_by <> '')
);

COMMENT ON TABLE day_verdict_version IS 'Whether a day is used, as a person decided. The newest version counts.';
COMMENT ON COLUMN day_verdict_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN day_verdict_version.verdict IS 'use, leave_out, or none: the verdict before was taken back.';
COMMENT ON COLUMN day_verdict_version.judged_by IS 'Who decided: the name of a person or of a key.';
COMMENT ON COLUMN day_verdict_version.note IS 'Why, in their words; may be empty.';

CREATE TRIGGER reading_hours_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON reading_hours_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE reading_hours_version ENABLE ALWAYS TRIGGER reading_hours_version_append_only;

CREATE TRIGGER day_verdict_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON day_verdict_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE day_verdict_version ENABLE ALWAYS TRIGGER day_verdict_version_append_only;
