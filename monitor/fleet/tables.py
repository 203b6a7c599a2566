"""The collector's tables, on PostgreSQL (SQLite for trying it). Rows of a log keep the columns and the line of time of their log.

`line` numbers the logs of one vehicle: a new card begins a new line. A branch that a board gave up, because a copy of its log was put
back, keeps its rows under a negative line; nothing that came is deleted.
"""
from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()


def _vehicle() -> Column[int]:
    return Column("vehicle_id", Integer, ForeignKey("vehicles.id"), nullable=False)


#: who may publish: one key a vehicle, kept as its SHA-256 alone; board is the first one that used it
vehicles = Table(
    "vehicles", metadata, Column("id", Integer, primary_key=True), Column("name", Text, nullable=False, unique=True),
    Column("key_hash", Text, nullable=False, unique=True), Column("enrolled_utc_s", Float, nullable=False),
    Column("revoked_utc_s", Float), Column("board", Text), Column("line", Integer, nullable=False, default=1),
    Column("branches", Integer, nullable=False, default=0), Column("number", BigInteger, nullable=False, default=0),
    Column("digest", Text, nullable=False, default=""), Column("cursors", Text, nullable=False, default="{}"),
    Column("seen_utc_s", Float), Column("version", Text, nullable=False, default=""), Column("refused", Text, nullable=False, default=""),
    Column("model", Text, nullable=False, default=""), Column("delivery", Text, nullable=False, default=""),
    Column("fitted_on", Date), Column("ended_on", Date), Column("note", Text, nullable=False, default=""),
)

#: how a vehicle stands, for the list: taken from its latest findings and open alerts
standing = Table(
    "standing", metadata, Column("vehicle_id", Integer, ForeignKey("vehicles.id"), primary_key=True),
    Column("at_utc_s", Float, nullable=False), Column("simulated", Boolean, nullable=False, default=False),
    Column("charge_frac", Float), Column("charge_low_frac", Float), Column("charge_high_frac", Float),
    Column("starter_v", Float), Column("drain_a", Float), Column("capacity_frac", Float), Column("capacity_low_frac", Float),
    Column("capacity_high_frac", Float), Column("verdict", Text, nullable=False, default=""), Column("probability_short", Float),
    Column("throughput_ah", Float), Column("weeks_count", Integer), Column("chemistry", Text, nullable=False, default=""),
    Column("rated_capacity_ah", Float), Column("high", Integer, nullable=False, default=0),
    Column("medium", Integer, nullable=False, default=0), Column("low", Integer, nullable=False, default=0),
    Column("first_seen", Text, nullable=False, default=""),
)

#: years left of the house battery, worked out once a week; body is what the page Health shows of them
years = Table("years", metadata, Column("vehicle_id", Integer, ForeignKey("vehicles.id"), primary_key=True),
              Column("line", Integer, nullable=False), Column("made_utc_s", Float, nullable=False), Column("value", Float),
              Column("low", Float), Column("high", Float), Column("body", Text, nullable=False))

#: what columns a block has, in order
layouts = Table("layouts", metadata, Column("id", Integer, primary_key=True), Column("names", Text, nullable=False, unique=True))

#: rows of minutes, quarters and hours, packed as they came; a day of them together once the day is over. In parts by month on
#: PostgreSQL, by the day (UTC) that their label gave when they came or was given since
blocks = Table(
    "blocks", metadata, Column("vehicle_id", Integer, nullable=False), Column("level", SmallInteger, nullable=False),
    Column("line", SmallInteger, nullable=False), Column("end_ms", BigInteger, nullable=False), Column("day", Date, nullable=False),
    Column("first_ms", BigInteger, nullable=False), Column("count", SmallInteger, nullable=False),
    Column("layout", SmallInteger, nullable=False), Column("last_crc", Integer, nullable=False),
    Column("body", LargeBinary, nullable=False),
    # the day last: a row is found by the rest of the key in each month's part
    UniqueConstraint("vehicle_id", "level", "line", "end_ms", "day", name="blocks_key"),
    postgresql_partition_by="RANGE (day)",
)

#: level of the log -> its number in blocks
LEVEL_NUMBERS = {"minutes": 1, "quarters": 2, "hours": 3}


def _lines(name: str, *columns: Column, key: tuple[str, ...]) -> Table:
    return Table(name, metadata, _vehicle(), Column("line", SmallInteger, nullable=False), *columns,
                 UniqueConstraint("vehicle_id", "line", *key, name=f"{name}_key"))


days = _lines("days", Column("end_ms", BigInteger, nullable=False), Column("start_ms", BigInteger, nullable=False),
              Column("row", Text, nullable=False), key=("end_ms",))
boots = _lines("boots", Column("at_ms", BigInteger, nullable=False), Column("row", Text, nullable=False), key=("at_ms",))
meta = _lines("meta", Column("name", Text, nullable=False), Column("row", Text, nullable=False), key=("name",))
alerts = _lines("alerts", Column("id", BigInteger, nullable=False), Column("at_ms", BigInteger, nullable=False),
                Column("state", Text, nullable=False), Column("kind", Text, nullable=False), Column("row", Text, nullable=False),
                Column("told", SmallInteger, nullable=False, default=0), key=("id",))
gaps = _lines("gaps", Column("from_ms", BigInteger, nullable=False), Column("quantity", Text, nullable=False),
              Column("row", Text, nullable=False), key=("from_ms", "quantity"))
forecasts = _lines("forecasts", Column("at_ms", BigInteger, nullable=False), Column("row", Text, nullable=False), key=("at_ms",))
events = _lines("events", Column("id", BigInteger, nullable=False), Column("at_ms", BigInteger, nullable=False),
                Column("kind", Text, nullable=False), Column("row", Text, nullable=False), key=("id",))
findings = _lines("findings", Column("at_ms", BigInteger, nullable=False), Column("text", Text, nullable=False), key=())
Index("events_by_kind", events.c.vehicle_id, events.c.kind)
Index("alerts_untold", alerts.c.told)

#: who may do what with the fleet's pages; a code is kept as a hash alone
people = Table("people", metadata, Column("name", Text, primary_key=True), Column("code_hash", Text, nullable=False),
               Column("role", Text, nullable=False))
#: words about the collection as a whole: the sessions' key, the day of the last digest
settings = Table("settings", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))
#: what somebody of the fleet did about a vehicle's alert
seen_by = Table("seen_by", metadata, _vehicle(), Column("line", SmallInteger, nullable=False),
                Column("alert_id", BigInteger, nullable=False), Column("by", Text, nullable=False),
                Column("at_utc_s", Float, nullable=False),
                UniqueConstraint("vehicle_id", "line", "alert_id", name="seen_by_key"))
#: what a later ampledger concluded of a vehicle's stored minutes
replays = Table("replays", metadata, Column("run", Text, nullable=False), _vehicle(), Column("made_utc_s", Float, nullable=False),
                Column("version", Text, nullable=False), Column("body", Text, nullable=False),
                UniqueConstraint("run", "vehicle_id", name="replays_key"))
