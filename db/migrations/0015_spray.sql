-- +goose Up

-- A spray is planned, then done, or taken back; a version holds all of it. The
-- intervals are what somebody read off a label: nothing about products is kept.
CREATE TABLE spray_version (
    farm              text COLLATE "C" NOT NULL,
    spray             text COLLATE "C" NOT NULL,
    version           integer          NOT NULL,
    recorded_at       timestamptz      NOT NULL,
    recorded_by       text             NOT NULL,
    withdrawn         boolean          NOT NULL,
    block             text             NOT NULL,
    plantings         text[] COLLATE "C" NOT NULL,
    name              text             NOT NULL,
    season            integer          NOT NULL,
    sprayed_at        timestamptz,
    pre_harvest_days  integer          NOT NULL,
    pre_harvest_hours integer          NOT NULL,
    reentry_hours     integer          NOT NULL,
    note              text             NOT NULL,
    known_day         date,
    CONSTRAINT spray_version_pk PRIMARY KEY (farm, spray, version),
    CONSTRAINT spray_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT spray_version_version_check CHECK (version >= 1),
    CONSTRAINT spray_version_withdrawn_check CHECK (NOT withdrawn OR version >= 2),
    CONSTRAINT spray_version_block_check CHECK (block <> '' AND char_length(block) <= 100),
    CONSTRAINT spray_version_name_check CHECK (name <> '' AND char_length(name) <= 100),
    CONSTRAINT spray_version_season_check CHECK (1700 <= season AND season <= 2400),
    CONSTRAINT spray_version_sprayed_check CHECK ('1700-01-01 00:00Z' <= sprayed_at AND sprayed_at < '2401-01-01 00:00Z'),
    CONSTRAINT spray_version_days_check CHECK (0 <= pre_harvest_days AND pre_harvest_days <= 365),
    CONSTRAINT spray_version_hours_check CHECK (0 <= pre_harvest_hours AND pre_harvest_hours <= 1000),
    CONSTRAINT spray_version_reentry_check CHECK (0 <= reentry_hours AND reentry_hours <= 1000),
    CONSTRAINT spray_version_note_check CHECK (char_length(note) <= 200),
    CONSTRAINT spray_version_known_check CHECK ('1700-01-01' <= known_day AND known_day <= '2400-12-31')
);

COMMENT ON TABLE spray_version IS 'What is to be sprayed on blocks, or was. The newest version counts, unless it is withdrawn.';
COMMENT ON COLUMN spray_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN spray_version.withdrawn IS 'True: it counts no more from then on; the values are those of the version before.';
COMMENT ON COLUMN spray_version.block IS 'Name of the block as it was then.';
COMMENT ON COLUMN spray_version.plantings IS 'What stood in the block then, so that a closure follows them when the block is renamed.';
COMMENT ON COLUMN spray_version.name IS 'In the farm''s own words.';
COMMENT ON COLUMN spray_version.season IS 'Harvest year.';
COMMENT ON COLUMN spray_version.sprayed_at IS 'When the last of it was done; NULL: planned.';
COMMENT ON COLUMN spray_version.pre_harvest_days IS 'Whole calendar days between spraying and picking.';
COMMENT ON COLUMN spray_version.pre_harvest_hours IS 'Hours, after those days.';
COMMENT ON COLUMN spray_version.reentry_hours IS 'Hours until people may be in the block again.';
COMMENT ON COLUMN spray_version.known_day IS 'First day on which the block may be picked as it was known when this was recorded; NULL: it was not.';

-- A plan counts back from a day that forecasts may move. Who has seen an earlier
-- one and leaves the plan as it is says so here.
CREATE TABLE spray_seen (
    farm        text COLLATE "C" NOT NULL,
    spray       text COLLATE "C" NOT NULL,
    version     integer          NOT NULL,
    number      integer          NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    day         date             NOT NULL,
    CONSTRAINT spray_seen_pk PRIMARY KEY (farm, spray, version, number),
    CONSTRAINT spray_seen_spray_version_fk FOREIGN KEY (farm, spray, version) REFERENCES spray_version (farm, spray, version),
    CONSTRAINT spray_seen_number_check CHECK (number >= 1),
    CONSTRAINT spray_seen_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31')
);

COMMENT ON TABLE spray_seen IS 'Who took note from which day on a block may be picked, of a version of a planned spray. The newest counts.';
COMMENT ON COLUMN spray_seen.day IS 'First day on which the block may be picked, as it was known then.';
COMMENT ON COLUMN spray_seen.recorded_by IS 'Who took note, in words: the name of a key.';

CREATE TRIGGER spray_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON spray_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE spray_version ENABLE ALWAYS TRIGGER spray_version_append_only;

CREATE TRIGGER spray_seen_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON spray_seen
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE spray_seen ENABLE ALWAYS TRIGGER spray_seen_append_only;
