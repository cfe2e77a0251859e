-- +goose Up

-- Up to which instant what was known of a farm is settled: forecasts have been
-- made of it, and nothing may come to belong to it afterwards. Whoever records
-- holds the farm's lock together with other writers and records later than the
-- mark; whoever moves the mark holds it alone, when all that was being recorded
-- is there. So a forecast that is made again from what was known then sees the
-- same records. This is no record, so it may change.
CREATE TABLE known_mark (
    farm     text COLLATE "C" NOT NULL,
    known_at timestamptz      NOT NULL,
    CONSTRAINT known_mark_pk PRIMARY KEY (farm),
    CONSTRAINT known_mark_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm)
) WITH (fillfactor = 50);

COMMENT ON TABLE known_mark IS 'Up to when what was known of farms is settled; without a row nothing is.';

CREATE TRIGGER known_mark_append_only
BEFORE DELETE OR TRUNCATE OR UPDATE OF farm ON known_mark
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE known_mark ENABLE ALWAYS TRIGGER known_mark_append_only;
