-- What the file is: one row, written when it is made.
CREATE TABLE about (simulated BOOLEAN NOT NULL, made_at TIMESTAMP NOT NULL);

-- Every revision of every record; rows are added and never changed. Times are UTC.
CREATE TABLE revisions (
    record_id VARCHAR NOT NULL,
    revision INTEGER NOT NULL,
    "action" VARCHAR NOT NULL,
    "by" VARCHAR,
    reason VARCHAR,
    made_at TIMESTAMP NOT NULL,
    needs_review BOOLEAN NOT NULL,
    unit VARCHAR NOT NULL,
    contributor VARCHAR NOT NULL,
    evidence VARCHAR NOT NULL,
    rectifier VARCHAR NOT NULL,
    "filter" VARCHAR NOT NULL,
    rated_current_ma DOUBLE NOT NULL,
    line_voltage_v DOUBLE NOT NULL,
    line_frequency_hz DOUBLE NOT NULL,
    centre_tapped BOOLEAN NOT NULL,
    excitation_v DOUBLE,
    hv_v DOUBLE,
    no_load_v DOUBLE,
    hv_resistance_ohm DOUBLE NOT NULL,
    winding_temp_c DOUBLE NOT NULL,
    tongue_mm DOUBLE,
    stack_mm DOUBLE,
    core_area_cm2 DOUBLE,
    conductor VARCHAR,
    awg DOUBLE,
    wire_diameter_mm DOUBLE,
    u_voltage_pct DOUBLE,
    u_resistance_pct DOUBLE,
    primary_resistance_ohm DOUBLE,
    weight_kg DOUBLE,
    recorded_on DATE,
    notes VARCHAR,
    simulated BOOLEAN NOT NULL
);

CREATE VIEW latest AS
SELECT * FROM revisions
QUALIFY row_number() OVER (PARTITION BY record_id ORDER BY revision DESC, made_at DESC) = 1;

-- The known units as they stand: what was withdrawn is not among them.
CREATE VIEW current_units AS SELECT * FROM latest WHERE "action" <> 'withdraw';
