-- +goose Up

CREATE TABLE feed (
    farm       text COLLATE "C" NOT NULL,
    station    text COLLATE "C" NOT NULL,
    feed       text COLLATE "C" NOT NULL,
    created_at timestamptz      NOT NULL,
    CONSTRAINT feed_pk PRIMARY KEY (farm, station, feed),
    CONSTRAINT feed_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station),
    CONSTRAINT feed_slug_check CHECK (feed ~ '^[a-z0-9][a-z0-9_-]{0,63}$')
);

COMMENT ON TABLE feed IS 'Where a station''s days and outlooks are fetched from.';

CREATE TABLE feed_version (
    farm           text COLLATE "C" NOT NULL,
    station        text COLLATE "C" NOT NULL,
    feed           text COLLATE "C" NOT NULL,
    version        integer          NOT NULL,
    recorded_at    timestamptz      NOT NULL,
    recorded_by    text             NOT NULL,
    removed        boolean          NOT NULL,
    kind           text             NOT NULL,
    address        text             NOT NULL,
    source_station text             NOT NULL,
    secret         text             NOT NULL,
    contact        text             NOT NULL,
    every_hours    integer          NOT NULL,
    paused         boolean          NOT NULL,
    CONSTRAINT feed_version_pk PRIMARY KEY (farm, station, feed, version),
    CONSTRAINT feed_version_feed_fk FOREIGN KEY (farm, station, feed) REFERENCES feed (farm, station, feed),
    CONSTRAINT feed_version_version_check CHECK (version >= 1),
    CONSTRAINT feed_version_kind_check CHECK (kind IN ('nws', 'open-meteo', 'acis', 'ncei')),
    CONSTRAINT feed_version_every_check CHECK (1 <= every_hours AND every_hours <= 24)
);

COMMENT ON TABLE feed_version IS 'What is said of a feed. The newest version counts.';
COMMENT ON COLUMN feed_version.recorded_by IS 'Who recorded it, in words: the name of a key or a command.';
COMMENT ON COLUMN feed_version.address IS 'Of a service like the kind''s own; empty: the kind''s own.';
COMMENT ON COLUMN feed_version.source_station IS 'The service''s identifier of the station, where it needs one.';
COMMENT ON COLUMN feed_version.secret IS 'The key that the service wants, as it wants it; it is never read out again.';
COMMENT ON COLUMN feed_version.every_hours IS 'Hours between two fetches.';

-- One row for every fetch. The newest one holds what must be remembered for the
-- next: a service asked every hour makes nine thousand small rows a year.
CREATE TABLE feed_run (
    farm              text COLLATE "C" NOT NULL,
    station           text COLLATE "C" NOT NULL,
    feed              text COLLATE "C" NOT NULL,
    run               integer          NOT NULL,
    started_at        timestamptz      NOT NULL,
    took_ms           bigint           NOT NULL,
    outcome           text             NOT NULL,
    detail            text             NOT NULL,
    status            integer          NOT NULL,
    requests          integer          NOT NULL,
    days_added        integer          NOT NULL,
    days_corrected    integer          NOT NULL,
    days_kept         integer          NOT NULL,
    outlook_issued_at timestamptz,
    state             jsonb            NOT NULL,
    CONSTRAINT feed_run_pk PRIMARY KEY (farm, station, feed, run),
    CONSTRAINT feed_run_feed_fk FOREIGN KEY (farm, station, feed) REFERENCES feed (farm, station, feed),
    CONSTRAINT feed_run_run_check CHECK (run >= 1),
    CONSTRAINT feed_run_outcome_check CHECK (outcome IN ('new', 'unchanged', 'stale', 'failed', 'refused'))
);

COMMENT ON TABLE feed_run IS 'What came of each fetch of a feed.';
COMMENT ON COLUMN feed_run.took_ms IS 'Time from the first request to the last answer, ms.';
COMMENT ON COLUMN feed_run.detail IS 'One sentence for a person.';
COMMENT ON COLUMN feed_run.status IS 'HTTP status of the last answer; 0: there was none.';
COMMENT ON COLUMN feed_run.days_kept IS 'Days that were left as another source has given them.';
COMMENT ON COLUMN feed_run.outlook_issued_at IS 'Of the outlook that was stored; NULL: none.';
COMMENT ON COLUMN feed_run.state IS 'What the next fetch must know.';

CREATE TRIGGER feed_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON feed
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE feed ENABLE ALWAYS TRIGGER feed_append_only;

CREATE TRIGGER feed_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON feed_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE feed_version ENABLE ALWAYS TRIGGER feed_version_append_only;

CREATE TRIGGER feed_run_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON feed_run
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE feed_run ENABLE ALWAYS TRIGGER feed_run_append_only;
