"""The tables of the log, as SQLAlchemy knows them; the migrations must lead to exactly these."""
from typing import Any

from sqlalchemy import Column, Float, Integer, LargeBinary, MetaData, Table, Text

from monitor.store.columns import LEVELS, RAW_COLUMNS, ROLLED_COLUMNS

metadata = MetaData()


def _crc() -> "Column[Any]":
    """The checksum over the row (monitor/store/checksum.py); NULL in rows from before there was one."""
    return Column("crc", Integer)


#: what the file as a whole is: simulated or not, the vehicle it speaks of, when it was begun
meta = Table("meta", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False), _crc())

#: from at_ms on, UTC is at_ms + utc_offset_ms, give or take utc_sigma_s; gap_s is what the line of time
#: allowed for the silence before, give or take gap_doubt_s
boots = Table(
    "boots", metadata, Column("at_ms", Integer, primary_key=True), Column("boot_id", Text, nullable=False),
    Column("utc_offset_ms", Integer, nullable=False), Column("utc_sigma_s", Float, nullable=False),
    Column("utc_trusted", Integer, nullable=False), Column("source", Text, nullable=False),
    Column("gap_s", Float, nullable=False), Column("gap_doubt_s", Float, nullable=False),
    Column("boot_offset_ms", Integer, nullable=False), _crc(),
)

#: the latest hours, a row for each beat; older hours are in chunks
samples = Table("samples", metadata, Column("at_ms", Integer, primary_key=True), *(Column(c, Integer) for c in RAW_COLUMNS), _crc())

#: an hour of rows each, compressed, with a checksum over all of it
chunks = Table(
    "chunks", metadata, Column("at_ms", Integer, primary_key=True), Column("end_ms", Integer, nullable=False),
    Column("count", Integer, nullable=False), Column("crc", Integer, nullable=False), Column("body", LargeBinary, nullable=False),
)

#: quick voltages around a start, as JSON pairs of seconds and volts, with a checksum
cranks = Table("cranks", metadata, Column("at_ms", Integer, primary_key=True), Column("crc", Integer, nullable=False),
               Column("body", LargeBinary, nullable=False))

levels = {
    level: Table(level, metadata, Column("end_ms", Integer, primary_key=True), Column("start_ms", Integer, nullable=False),
                 *(Column(c, Integer) for c in ROLLED_COLUMNS), _crc())
    for level in LEVELS
}

#: generations of what the trackers hold: whole ones, and changes to the one before
tracker_state = Table(
    "tracker_state", metadata, Column("generation", Integer, primary_key=True), Column("whole", Integer, nullable=False),
    Column("at_ms", Integer, nullable=False), Column("format", Integer, nullable=False),
    Column("crc", Integer, nullable=False), Column("body", LargeBinary, nullable=False),
)

#: the latest findings for the pages: row 1 whole, row 2 (where there is one) later ones, shrunk by row 1
findings = Table("findings", metadata, Column("id", Integer, primary_key=True), Column("at_ms", Integer, nullable=False),
                 Column("crc", Integer, nullable=False), Column("body", LargeBinary, nullable=False))

#: one row an hour: what was foreseen; seconds count from at_ms
forecasts = Table(
    "forecasts", metadata, Column("at_ms", Integer, primary_key=True), Column("reserve_in_s", Float),
    Column("reserve_in_low_s", Float), Column("reserve_in_high_s", Float), Column("probability_before_sun", Float),
    Column("lowest_frac", Float), Column("lowest_low_frac", Float), Column("lowest_high_frac", Float),
    Column("sun_back_in_s", Float), _crc(),
)

events = Table(
    "events", metadata, Column("id", Integer, primary_key=True), Column("at_ms", Integer, nullable=False, index=True),
    Column("kind", Text, nullable=False), Column("battery", Text, nullable=False), Column("message", Text, nullable=False),
    Column("figures", Text, nullable=False), _crc(),
)

#: every alert ever raised, as it stands now; body is the alert whole
alerts = Table(
    "alerts", metadata, Column("id", Integer, primary_key=True), Column("at_ms", Integer, nullable=False),
    Column("state", Text, nullable=False), Column("raised_ms", Integer, nullable=False, index=True),
    Column("body", Text, nullable=False), _crc(),
)

#: times in which a quantity was not measured, and why; until_ms is null while it lasts
gaps = Table(
    "gaps", metadata, Column("from_ms", Integer, primary_key=True), Column("quantity", Text, primary_key=True),
    Column("reason", Text, nullable=False), Column("until_ms", Integer), Column("count", Integer, nullable=False), _crc(),
)
