"""What the log's columns are called and how they are scaled: whole numbers of small units keep the file small."""

#: Sample field -> (column, stored units in one unit of the field)
RAW = {
    "house_voltage_v": ("house_voltage_mv", 1000),
    "house_current_a": ("house_current_ma", 1000),
    "starter_voltage_v": ("starter_voltage_mv", 1000),
    "house_temperature_c": ("house_temperature_mc", 1000),
    "starter_temperature_c": ("starter_temperature_mc", 1000),
    "ambient_temperature_c": ("ambient_temperature_mc", 1000),
    "solar_current_a": ("solar_current_ma", 1000),
    "ignition_on": ("ignition_on", 1),
}

#: Roll-up field -> (column, scale, how rows of a finer level are put together)
ROLLED = {
    "house_voltage_v": ("house_voltage_mv", 1000, "mean"),
    "house_voltage_low_v": ("house_voltage_low_mv", 1000, "least"),
    "house_voltage_high_v": ("house_voltage_high_mv", 1000, "most"),
    "house_current_a": ("house_current_ma", 1000, "mean"),
    "house_current_low_a": ("house_current_low_ma", 1000, "least"),
    "house_current_high_a": ("house_current_high_ma", 1000, "most"),
    "starter_voltage_v": ("starter_voltage_mv", 1000, "mean"),
    "starter_voltage_low_v": ("starter_voltage_low_mv", 1000, "least"),
    "starter_voltage_high_v": ("starter_voltage_high_mv", 1000, "most"),
    "house_temperature_c": ("house_temperature_mc", 1000, "mean"),
    "starter_temperature_c": ("starter_temperature_mc", 1000, "mean"),
    "ambient_temperature_c": ("ambient_temperature_mc", 1000, "mean"),
    "solar_current_a": ("solar_current_ma", 1000, "mean"),
    "charge_in_ah": ("charge_in_uah", 1_000_000, "sum"),
    "charge_out_ah": ("charge_out_uah", 1_000_000, "sum"),
    "energy_in_wh": ("energy_in_uwh", 1_000_000, "sum"),
    "energy_out_wh": ("energy_out_uwh", 1_000_000, "sum"),
    "sun_ah": ("sun_uah", 1_000_000, "sum"),
    "alternator_ah": ("alternator_uah", 1_000_000, "sum"),
    "other_ah": ("other_uah", 1_000_000, "sum"),
    "charge_frac": ("charge_e4", 10_000, "mean"),
    "charge_low_frac": ("charge_low_e4", 10_000, "mean"),
    "charge_high_frac": ("charge_high_e4", 10_000, "mean"),
    "capacity_ah": ("capacity_mah", 1000, "mean"),
    "isolator_closed_frac": ("isolator_closed_e3", 1000, "mean"),
    "engine_running_frac": ("engine_running_e3", 1000, "mean"),
    "gap_s": ("gap_s", 1, "sum"),
    "covered_s": ("covered_s", 1, "sum"),
    "load_a": ("load_ma", 1000, "mean"),
    "harvest_a": ("harvest_ma", 1000, "mean"),
    "curtailed_frac": ("curtailed_e3", 1000, "mean"),
}

#: Levels of the log above the raw rows, and the seconds one row stands for
LEVELS = {"minutes": 60, "quarters": 900, "hours": 3600, "days": 86400}

RAW_COLUMNS = tuple(column for column, _ in RAW.values())
ROLLED_COLUMNS = tuple(column for column, _, _ in ROLLED.values())


def to_stored(value: float | None, scale: int) -> int | None:
    """A measured value as it is stored, to the nearest stored unit; None stays None."""
    return None if value is None else round(value * scale)


def milliseconds(at_s: float) -> int:
    """A moment of the log's line of time as it is stored."""
    return round(at_s * 1000)


def adding_up(how: str, column: str) -> str:
    """SQL that puts a column of finer rows together."""
    return {"mean": f"cast(round(avg({column})) as integer)", "least": f"min({column})", "most": f"max({column})",
            "sum": f"sum({column})"}[how]


#: table -> its columns in order, checksum left out; tables.py says the same to SQLAlchemy, which a reader does without
TABLE_COLUMNS: dict[str, tuple[str, ...]] = {
    "meta": ("name", "value"),
    "boots": ("at_ms", "boot_id", "utc_offset_ms", "utc_sigma_s", "utc_trusted", "source", "gap_s", "gap_doubt_s", "boot_offset_ms"),
    "samples": ("at_ms", *RAW_COLUMNS),
    **dict.fromkeys(LEVELS, ("end_ms", "start_ms", *ROLLED_COLUMNS)),
    "forecasts": ("at_ms", "reserve_in_s", "reserve_in_low_s", "reserve_in_high_s", "probability_before_sun", "lowest_frac",
                  "lowest_low_frac", "lowest_high_frac", "sun_back_in_s"),
    "events": ("id", "at_ms", "kind", "battery", "message", "figures"),
    "alerts": ("id", "at_ms", "state", "raised_ms", "body"),
    "gaps": ("from_ms", "quantity", "reason", "until_ms", "count"),
}
#: tables of packed blobs that carry a checksum of their own over blob and key
BLOB_COLUMNS: dict[str, tuple[str, ...]] = {
    "chunks": ("at_ms", "end_ms", "count", "crc", "body"),
    "cranks": ("at_ms", "crc", "body"),
    "tracker_state": ("generation", "whole", "at_ms", "format", "crc", "body"),
    "findings": ("id", "at_ms", "crc", "body"),
}
