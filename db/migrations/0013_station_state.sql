-- +goose Up

-- What is known of a station's record is dear to work out, so whoever has done
-- that keeps it, and asks here whether it still holds. A state is another one
-- after every change: a number that counts would come again after an older
-- backup was restored. The row is written in the transaction of the change, so
-- that who sees one sees the other. This is no record, so it may change.
CREATE TABLE station_state (
    farm    text COLLATE "C" NOT NULL,
    station text COLLATE "C" NOT NULL,
    state   uuid             NOT NULL,
    CONSTRAINT station_state_pk PRIMARY KEY (farm, station),
    CONSTRAINT station_state_station_fk FOREIGN KEY (farm, station) REFERENCES station (farm, station)
) WITH (fillfactor = 50);

COMMENT ON TABLE station_state IS 'Names what is on record of stations, their days and outlooks; without a row nothing has changed since this table is there.';
COMMENT ON COLUMN station_state.state IS 'Random; another one after each change.';

-- +goose StatementBegin
CREATE FUNCTION change_station_state() RETURNS trigger
LANGUAGE plpgsql SET search_path FROM CURRENT AS $$
BEGIN
    INSERT INTO station_state (farm, station, state)
    SELECT a.farm, a.station, gen_random_uuid()
    FROM (SELECT DISTINCT farm, station FROM added) AS a
    JOIN station USING (farm, station) -- A row of a station that there is not is refused by its own table.
    ORDER BY a.farm, a.station
    ON CONFLICT (farm, station) DO UPDATE
    SET state = EXCLUDED.state;
    RETURN NULL;
END
$$;
-- +goose StatementEnd

COMMENT ON FUNCTION change_station_state IS 'Gives the stations of new rows another state.';

CREATE TRIGGER station_version_state
AFTER INSERT ON station_version
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION change_station_state();
ALTER TABLE station_version ENABLE ALWAYS TRIGGER station_version_state;

CREATE TRIGGER station_day_state
AFTER INSERT ON station_day
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION change_station_state();
ALTER TABLE station_day ENABLE ALWAYS TRIGGER station_day_state;

CREATE TRIGGER reading_hours_version_state
AFTER INSERT ON reading_hours_version
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION change_station_state();
ALTER TABLE reading_hours_version ENABLE ALWAYS TRIGGER reading_hours_version_state;

CREATE TRIGGER day_verdict_version_state
AFTER INSERT ON day_verdict_version
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION change_station_state();
ALTER TABLE day_verdict_version ENABLE ALWAYS TRIGGER day_verdict_version_state;

CREATE TRIGGER outlook_version_state
AFTER INSERT ON outlook_version
REFERENCING NEW TABLE AS added
FOR EACH STATEMENT EXECUTE FUNCTION change_station_state();
ALTER TABLE outlook_version ENABLE ALWAYS TRIGGER outlook_version_state;

CREATE TRIGGER station_state_refuse
BEFORE DELETE OR TRUNCATE OR UPDATE OF farm, station ON station_state
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE station_state ENABLE ALWAYS TRIGGER station_state_refuse;
