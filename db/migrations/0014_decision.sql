-- +goose Up

-- More of what a farm asks of an opening day. Lists of names and their values
-- lie side by side: the i-th of one belongs to the i-th of the other.
ALTER TABLE farm_version
    ADD COLUMN opening_ready_kg_on     double precision[],
    ADD COLUMN opening_first_varieties integer,
    ADD COLUMN channel_names           text[],
    ADD COLUMN channel_notice_days     integer[],
    ADD COLUMN holiday_names           text[],
    ADD COLUMN holiday_rules           text[],
    ADD CONSTRAINT farm_version_ready_kg_on_check CHECK (
        cardinality(opening_ready_kg_on) = 7 AND array_position(opening_ready_kg_on, NULL) IS NULL
        AND 0 <= ALL (opening_ready_kg_on) AND 'Infinity' > ALL (opening_ready_kg_on)),
    ADD CONSTRAINT farm_version_first_varieties_check CHECK (opening_first_varieties > 0),
    ADD CONSTRAINT farm_version_channels_check CHECK (
        (channel_names IS NULL) = (channel_notice_days IS NULL)
        AND cardinality(channel_names) = cardinality(channel_notice_days)
        AND 0 <= ALL (channel_notice_days)),
    ADD CONSTRAINT farm_version_holidays_check CHECK (
        (holiday_names IS NULL) = (holiday_rules IS NULL)
        AND cardinality(holiday_names) = cardinality(holiday_rules));

COMMENT ON COLUMN farm_version.opening_ready_kg_on IS 'Ripe fruit standing that is enough by weekday, kg, Sunday first; 0: as opening_ready_kg.';
COMMENT ON COLUMN farm_version.opening_first_varieties IS 'Of how many varieties that ripen first opening_ready_share is a share; NULL: one.';
COMMENT ON COLUMN farm_version.channel_names IS 'Ways of telling people.';
COMMENT ON COLUMN farm_version.channel_notice_days IS 'Days of notice that each needs.';
COMMENT ON COLUMN farm_version.holiday_names IS 'Days that customers carry in their heads.';
COMMENT ON COLUMN farm_version.holiday_rules IS 'On which date of a year each falls, such as "third sunday of june".';

CREATE TABLE decision_version (
    farm       text COLLATE "C" NOT NULL,
    season     integer          NOT NULL,
    kind       text             NOT NULL,
    version    integer          NOT NULL,
    decided_at timestamptz      NOT NULL,
    decided_by text             NOT NULL,
    day        date,
    forecast   text COLLATE "C" NOT NULL,
    note       text             NOT NULL,
    CONSTRAINT decision_version_pk PRIMARY KEY (farm, season, kind, version),
    CONSTRAINT decision_version_farm_fk FOREIGN KEY (farm) REFERENCES farm (farm),
    CONSTRAINT decision_version_forecast_fk FOREIGN KEY (farm, forecast) REFERENCES frozen_forecast (farm, id),
    CONSTRAINT decision_version_version_check CHECK (version >= 1),
    CONSTRAINT decision_version_kind_check CHECK (kind IN ('opening', 'peak_week', 'closing')),
    CONSTRAINT decision_version_day_check CHECK ('1700-01-01' <= day AND day <= '2400-12-31'),
    CONSTRAINT decision_version_taken_back_check CHECK (day IS NOT NULL OR version >= 2),
    CONSTRAINT decision_version_note_check CHECK (char_length(note) <= 200)
);

COMMENT ON TABLE decision_version IS 'What farms decided of a season and told people, apart from what was advised. The newest version counts.';
COMMENT ON COLUMN decision_version.season IS 'Harvest year.';
COMMENT ON COLUMN decision_version.decided_by IS 'Who decided, in words: the name of a key.';
COMMENT ON COLUMN decision_version.day IS 'Civil date at the farm; of a peak week its first. NULL: taken back.';
COMMENT ON COLUMN decision_version.forecast IS 'The frozen forecast it was made on.';

CREATE TRIGGER decision_version_append_only
BEFORE UPDATE OR DELETE OR TRUNCATE ON decision_version
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change();
ALTER TABLE decision_version ENABLE ALWAYS TRIGGER decision_version_append_only;
