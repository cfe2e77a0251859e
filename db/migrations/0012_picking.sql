-- +goose Up

-- What is picked of a planting on a day, and what a night costs it, is one
-- thing each for a planting and a date; a version holds all of it.
CREATE TABLE picking_version (
    farm          text COLLATE "C" NOT NULL,
    planting      text COLLATE "C" NOT NULL,
    day           date             NOT NULL,
    version       integer          NOT NULL,
    recorded_at   timestamptz      NOT NULL,
    recorded_by   text             NOT NULL,
    withdrawn     boolean          NOT NULL,
    kg            double precision NOT NULL,
    left_standing text             NOT NULL,
    closed        boolean          NOT NULL,
    source        text             NOT NULL,
    note          text             NOT NULL,
    CONSTRAINT picking_version_pk PRIMARY KEY (farm, planting, day, version),
    CONSTRAINT picking_version_planting_fk FOREIGN KEY (farm, planting) REFERENCES planting (farm, planting),
    CONSTRAINT picking_version_version_check CHECK (version >= 1),
    CONSTRAINT picking_version_withdrawn_check CHECK (NOT withdrawn OR version >= 2),
    CONSTRAINT picking_version_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    CONSTRAINT picking_version_kg_check CHECK (0 <= kg AND kg <= 100000),
    CONSTRAINT picking_version_closed_check CHECK (NOT closed OR kg = 0),
    CONSTRAINT picking_version_left_standing_check CHECK (left_standing IN ('', 'none', 'some', 'lots')),
    CONSTRAINT picking_version_source_check CHECK (source IN ('customers', 'staff', 'all')),
    CONSTRAINT picking_version_note_check CHECK (char_length(note) <= 200)
);

COMMENT ON TABLE picking_version IS 'What was picked of plantings, day by day. The newest version counts, unless it is withdrawn.';
COMMENT ON COLUMN picking_version.day IS 'Civil date at the farm.';
COMMENT ON COLUMN picking_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN picking_version.withdrawn IS 'True: it counts no more from then on; the values are those of the version before.';
COMMENT ON COLUMN picking_version.kg IS 'kg, the sum of the whole day.';
COMMENT ON COLUMN picking_version.left_standing IS 'Ripe fruit standing at the end of the day; empty: not told.';
COMMENT ON COLUMN picking_version.closed IS 'Nothing could be picked, for rain or rest.';
COMMENT ON COLUMN picking_version.source IS 'Whose fruit kg counts.';

CREATE TABLE frost_version (
    farm        text COLLATE "C" NOT NULL,
    planting    text COLLATE "C" NOT NULL,
    day         date             NOT NULL,
    version     integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    withdrawn   boolean          NOT NULL,
    share_lost  double precision NOT NULL,
    low_c       double precision,
    note        text             NOT NULL,
    CONSTRAINT frost_version_pk PRIMARY KEY (farm, planting, day, version),
    CONSTRAINT frost_version_planting_fk FOREIGN KEY (farm, planting) REFERENCES planting (farm, planting),
    CONSTRAINT frost_version_version_check CHECK (version >= 1),
    CONSTRAINT frost_version_withdrawn_check CHECK (NOT withdrawn OR version >= 2),
    CONSTRAINT frost_version_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    CONSTRAINT frost_version_share_lost_check CHECK (0 < share_lost AND share_lost <= 1),
    CONSTRAINT frost_version_low_check CHECK (-40 <= low_c AND low_c <= 10),
    CONSTRAINT frost_version_note_check CHECK (char_length(note) <= 200)
);

COMMENT ON TABLE frost_version IS 'What nights cost plantings in flowers. The newest version counts, unless it is withdrawn.';
COMMENT ON COLUMN frost_version.day IS 'Civil date at the farm of the morning after the night.';
COMMENT ON COLUMN frost_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN frost_version.withdrawn IS 'True: it counts no more from then on; the values are those of the version before.';
COMMENT ON COLUMN frost_version.share_lost IS 'Of the flowers that were open that night, above 0 to 1.';
COMMENT ON COLUMN frost_version.low_c IS 'Lowest temperature at the plants, °C; NULL: not told.';

CREATE TRIGGER picking_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON picking_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE picking_version ENABLE ALWAYS TRIGGER picking_version_append_only;

CREATE TRIGGER frost_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON frost_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE frost_version ENABLE ALWAYS TRIGGER frost_version_append_only;
