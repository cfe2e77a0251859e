-- +goose Up

CREATE TABLE sighting (
    farm        text COLLATE "C" NOT NULL,
    id          text COLLATE "C" NOT NULL,
    planting    text COLLATE "C" NOT NULL,
    season      integer          NOT NULL,
    day         date             NOT NULL,
    stage       text             NOT NULL,
    seen        boolean          NOT NULL,
    note        text             NOT NULL,
    recorded_at timestamptz      NOT NULL,
    recorded_by text             NOT NULL,
    CONSTRAINT sighting_pk PRIMARY KEY (farm, id),
    CONSTRAINT sighting_planting_fk FOREIGN KEY (farm, planting) REFERENCES planting (farm, planting),
    CONSTRAINT sighting_id_check CHECK (id <> ''),
    CONSTRAINT sighting_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    -- South of the equator the season begins in July of the year before.
    CONSTRAINT sighting_season_check CHECK (
        season = EXTRACT(YEAR FROM day)
        OR season = EXTRACT(YEAR FROM day) + 1 AND EXTRACT(MONTH FROM day) >= 7
    ),
    CONSTRAINT sighting_stage_check
        CHECK (stage IN ('bloom_10', 'bloom_full', 'first_ripe', 'peak', 'last_pick'))
);

CREATE INDEX sighting_planting_idx ON sighting (farm, planting, season);
CREATE INDEX sighting_season_idx ON sighting (farm, season);

COMMENT ON TABLE sighting IS 'Looks at plantings. Those that have an end count no more.';
COMMENT ON COLUMN sighting.id IS 'Random.';
COMMENT ON COLUMN sighting.season IS 'Year of harvest that the day lies in.';
COMMENT ON COLUMN sighting.day IS 'Civil date at the farm.';
COMMENT ON COLUMN sighting.seen IS 'True: the first day of the stage. False: somebody looked, and it had not come.';
COMMENT ON COLUMN sighting.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';

CREATE TABLE sighting_end (
    farm        text COLLATE "C" NOT NULL,
    id          text COLLATE "C" NOT NULL,
    ended_at    timestamptz      NOT NULL,
    ended_by    text             NOT NULL,
    replaced_by text COLLATE "C",
    CONSTRAINT sighting_end_pk PRIMARY KEY (farm, id),
    CONSTRAINT sighting_end_sighting_fk FOREIGN KEY (farm, id) REFERENCES sighting (farm, id),
    CONSTRAINT sighting_end_replaced_by_fk FOREIGN KEY (farm, replaced_by) REFERENCES sighting (farm, id),
    CONSTRAINT sighting_end_replaced_by_check CHECK (replaced_by <> id)
);

COMMENT ON TABLE sighting_end IS 'The end of a sighting: it was replaced or withdrawn.';
COMMENT ON COLUMN sighting_end.ended_by IS 'Who ended it, in words: the name of a key or a command.';
COMMENT ON COLUMN sighting_end.replaced_by IS 'The sighting in its place; NULL: withdrawn.';

CREATE TRIGGER sighting_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON sighting
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE sighting ENABLE ALWAYS TRIGGER sighting_append_only;

CREATE TRIGGER sighting_end_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON sighting_end
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE sighting_end ENABLE ALWAYS TRIGGER sighting_end_append_only;
