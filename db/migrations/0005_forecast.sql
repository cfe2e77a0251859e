-- +goose Up

CREATE TABLE frozen_forecast (
    farm     text COLLATE "C" NOT NULL,
    id       text COLLATE "C" NOT NULL,
    season   integer          NOT NULL,
    as_of    date             NOT NULL,
    known_at timestamptz      NOT NULL,
    made_at  timestamptz      NOT NULL,
    hindcast boolean          NOT NULL,
    program  text             NOT NULL,
    body     bytea            NOT NULL,
    CONSTRAINT frozen_forecast_pk PRIMARY KEY (farm, id),
    CONSTRAINT frozen_forecast_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT frozen_forecast_id_check CHECK (id <> ''),
    CONSTRAINT frozen_forecast_season_check CHECK (1700 <= season AND season <= 2401),
    CONSTRAINT frozen_forecast_as_of_check CHECK ('1700-01-01' <= as_of AND as_of <= '2400-12-31'),
    CONSTRAINT frozen_forecast_body_check CHECK (body <> '')
);

CREATE INDEX frozen_forecast_latest_idx ON frozen_forecast (farm, as_of DESC, made_at DESC, id DESC)
    WHERE NOT hindcast;
CREATE INDEX frozen_forecast_season_idx ON frozen_forecast (farm, season, hindcast, as_of DESC, made_at DESC, id DESC);

COMMENT ON TABLE frozen_forecast IS 'Forecasts as they were issued.';
COMMENT ON COLUMN frozen_forecast.id IS 'Random.';
COMMENT ON COLUMN frozen_forecast.season IS 'Year of harvest.';
COMMENT ON COLUMN frozen_forecast.as_of IS 'The morning it was made for, a civil date at the farm.';
COMMENT ON COLUMN frozen_forecast.known_at IS 'Records received later were not used.';
COMMENT ON COLUMN frozen_forecast.hindcast IS 'Made for an earlier day than the day it was made on.';
COMMENT ON COLUMN frozen_forecast.program IS 'Version of the program that made it.';
COMMENT ON COLUMN frozen_forecast.body IS 'JSON, served byte for byte; bytea, because json and text may be re-encoded on the way.';

CREATE TRIGGER frozen_forecast_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON frozen_forecast
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE frozen_forecast ENABLE ALWAYS TRIGGER frozen_forecast_append_only;
