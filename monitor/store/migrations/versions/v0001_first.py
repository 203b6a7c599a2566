"""The first shape of the log."""
from alembic import op

revision = "0001"
down_revision = None

#: written out, not taken from tables.py: this step must stay what it was
STATEMENTS = (
    """CREATE TABLE alerts (
        id INTEGER NOT NULL, at_ms INTEGER NOT NULL, state TEXT NOT NULL, raised_ms INTEGER NOT NULL,
        body TEXT NOT NULL, PRIMARY KEY (id)
    )""",
    "CREATE INDEX ix_alerts_raised_ms ON alerts (raised_ms)",
    """CREATE TABLE boots (
        at_ms INTEGER NOT NULL, boot_id TEXT NOT NULL, utc_offset_ms INTEGER NOT NULL,
        utc_sigma_s FLOAT NOT NULL, utc_trusted INTEGER NOT NULL, source TEXT NOT NULL,
        gap_s FLOAT NOT NULL, gap_doubt_s FLOAT NOT NULL, boot_offset_ms INTEGER NOT NULL,
        PRIMARY KEY (at_ms)
    )""",
    """CREATE TABLE chunks (
        at_ms INTEGER NOT NULL, end_ms INTEGER NOT NULL, count INTEGER NOT NULL, crc INTEGER NOT NULL,
        body BLOB NOT NULL, PRIMARY KEY (at_ms)
    )""",
    """CREATE TABLE cranks (
        at_ms INTEGER NOT NULL, crc INTEGER NOT NULL, body BLOB NOT NULL, PRIMARY KEY (at_ms)
    )""",
    """CREATE TABLE days (
        end_ms INTEGER NOT NULL, start_ms INTEGER NOT NULL, house_voltage_mv INTEGER,
        house_voltage_low_mv INTEGER, house_voltage_high_mv INTEGER, house_current_ma INTEGER,
        house_current_low_ma INTEGER, house_current_high_ma INTEGER, starter_voltage_mv INTEGER,
        starter_voltage_low_mv INTEGER, starter_voltage_high_mv INTEGER, house_temperature_mc INTEGER,
        starter_temperature_mc INTEGER, ambient_temperature_mc INTEGER, solar_current_ma INTEGER,
        charge_in_uah INTEGER, charge_out_uah INTEGER, energy_in_uwh INTEGER, energy_out_uwh INTEGER,
        sun_uah INTEGER, alternator_uah INTEGER, other_uah INTEGER, charge_e4 INTEGER,
        charge_low_e4 INTEGER, charge_high_e4 INTEGER, capacity_mah INTEGER, isolator_closed_e3 INTEGER,
        engine_running_e3 INTEGER, gap_s INTEGER, covered_s INTEGER, PRIMARY KEY (end_ms)
    )""",
    """CREATE TABLE events (
        id INTEGER NOT NULL, at_ms INTEGER NOT NULL, kind TEXT NOT NULL, battery TEXT NOT NULL,
        message TEXT NOT NULL, figures TEXT NOT NULL, PRIMARY KEY (id)
    )""",
    "CREATE INDEX ix_events_at_ms ON events (at_ms)",
    """CREATE TABLE findings (
        id INTEGER NOT NULL, at_ms INTEGER NOT NULL, crc INTEGER NOT NULL, body BLOB NOT NULL,
        PRIMARY KEY (id)
    )""",
    """CREATE TABLE forecasts (
        at_ms INTEGER NOT NULL, reserve_in_s FLOAT, reserve_in_low_s FLOAT, reserve_in_high_s FLOAT,
        probability_before_sun FLOAT, lowest_frac FLOAT, lowest_low_frac FLOAT, lowest_high_frac FLOAT,
        sun_back_in_s FLOAT, PRIMARY KEY (at_ms)
    )""",
    """CREATE TABLE gaps (
        from_ms INTEGER NOT NULL, quantity TEXT NOT NULL, reason TEXT NOT NULL, until_ms INTEGER,
        count INTEGER NOT NULL, PRIMARY KEY (from_ms, quantity)
    )""",
    """CREATE TABLE hours (
        end_ms INTEGER NOT NULL, start_ms INTEGER NOT NULL, house_voltage_mv INTEGER,
        house_voltage_low_mv INTEGER, house_voltage_high_mv INTEGER, house_current_ma INTEGER,
        house_current_low_ma INTEGER, house_current_high_ma INTEGER, starter_voltage_mv INTEGER,
        starter_voltage_low_mv INTEGER, starter_voltage_high_mv INTEGER, house_temperature_mc INTEGER,
        starter_temperature_mc INTEGER, ambient_temperature_mc INTEGER, solar_current_ma INTEGER,
        charge_in_uah INTEGER, charge_out_uah INTEGER, energy_in_uwh INTEGER, energy_out_uwh INTEGER,
        sun_uah INTEGER, alternator_uah INTEGER, other_uah INTEGER, charge_e4 INTEGER,
        charge_low_e4 INTEGER, charge_high_e4 INTEGER, capacity_mah INTEGER, isolator_closed_e3 INTEGER,
        engine_running_e3 INTEGER, gap_s INTEGER, covered_s INTEGER, PRIMARY KEY (end_ms)
    )""",
    """CREATE TABLE meta (
        name TEXT NOT NULL, value TEXT NOT NULL, PRIMARY KEY (name)
    )""",
    """CREATE TABLE minutes (
        end_ms INTEGER NOT NULL, start_ms INTEGER NOT NULL, house_voltage_mv INTEGER,
        house_voltage_low_mv INTEGER, house_voltage_high_mv INTEGER, house_current_ma INTEGER,
        house_current_low_ma INTEGER, house_current_high_ma INTEGER, starter_voltage_mv INTEGER,
        starter_voltage_low_mv INTEGER, starter_voltage_high_mv INTEGER, house_temperature_mc INTEGER,
        starter_temperature_mc INTEGER, ambient_temperature_mc INTEGER, solar_current_ma INTEGER,
        charge_in_uah INTEGER, charge_out_uah INTEGER, energy_in_uwh INTEGER, energy_out_uwh INTEGER,
        sun_uah INTEGER, alternator_uah INTEGER, other_uah INTEGER, charge_e4 INTEGER,
        charge_low_e4 INTEGER, charge_high_e4 INTEGER, capacity_mah INTEGER, isolator_closed_e3 INTEGER,
        engine_running_e3 INTEGER, gap_s INTEGER, covered_s INTEGER, PRIMARY KEY (end_ms)
    )""",
    """CREATE TABLE quarters (
        end_ms INTEGER NOT NULL, start_ms INTEGER NOT NULL, house_voltage_mv INTEGER,
        house_voltage_low_mv INTEGER, house_voltage_high_mv INTEGER, house_current_ma INTEGER,
        house_current_low_ma INTEGER, house_current_high_ma INTEGER, starter_voltage_mv INTEGER,
        starter_voltage_low_mv INTEGER, starter_voltage_high_mv INTEGER, house_temperature_mc INTEGER,
        starter_temperature_mc INTEGER, ambient_temperature_mc INTEGER, solar_current_ma INTEGER,
        charge_in_uah INTEGER, charge_out_uah INTEGER, energy_in_uwh INTEGER, energy_out_uwh INTEGER,
        sun_uah INTEGER, alternator_uah INTEGER, other_uah INTEGER, charge_e4 INTEGER,
        charge_low_e4 INTEGER, charge_high_e4 INTEGER, capacity_mah INTEGER, isolator_closed_e3 INTEGER,
        engine_running_e3 INTEGER, gap_s INTEGER, covered_s INTEGER, PRIMARY KEY (end_ms)
    )""",
    """CREATE TABLE samples (
        at_ms INTEGER NOT NULL, house_voltage_mv INTEGER, house_current_ma INTEGER,
        starter_voltage_mv INTEGER, house_temperature_mc INTEGER, starter_temperature_mc INTEGER,
        ambient_temperature_mc INTEGER, solar_current_ma INTEGER, ignition_on INTEGER, PRIMARY KEY (at_ms)
    )""",
    """CREATE TABLE tracker_state (
        generation INTEGER NOT NULL, whole INTEGER NOT NULL, at_ms INTEGER NOT NULL, format INTEGER NOT NULL,
        crc INTEGER NOT NULL, body BLOB NOT NULL, PRIMARY KEY (generation)
    )""",
)


def upgrade() -> None:
    for statement in STATEMENTS:
        op.execute(statement)
