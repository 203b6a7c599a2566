"""The collector's first tables. On PostgreSQL the blocks lie in parts by month."""
import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """From nothing."""
    op.create_table(
        "blocks",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("level", sa.SmallInteger(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("end_ms", sa.BigInteger(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("first_ms", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.SmallInteger(), nullable=False),
        sa.Column("layout", sa.SmallInteger(), nullable=False),
        sa.Column("last_crc", sa.Integer(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.UniqueConstraint("vehicle_id", "level", "line", "end_ms", "day", name="blocks_key"),
        postgresql_partition_by="RANGE (day)",
    )
    op.create_table(
        "layouts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("names", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("names"),
    )
    op.create_table(
        "people",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "settings",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "vehicles",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("key_hash", sa.Text(), nullable=False),
        sa.Column("enrolled_utc_s", sa.Float(), nullable=False),
        sa.Column("revoked_utc_s", sa.Float(), nullable=True),
        sa.Column("board", sa.Text(), nullable=True),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("branches", sa.Integer(), nullable=False),
        sa.Column("number", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("cursors", sa.Text(), nullable=False),
        sa.Column("seen_utc_s", sa.Float(), nullable=True),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("refused", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("delivery", sa.Text(), nullable=False),
        sa.Column("fitted_on", sa.Date(), nullable=True),
        sa.Column("ended_on", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key_hash"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "alerts",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("id", sa.BigInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.Column("told", sa.SmallInteger(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "id", name="alerts_key"),
    )
    op.create_index("alerts_untold", "alerts", ["told"])
    op.create_table(
        "boots",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "at_ms", name="boots_key"),
    )
    op.create_table(
        "days",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("end_ms", sa.BigInteger(), nullable=False),
        sa.Column("start_ms", sa.BigInteger(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "end_ms", name="days_key"),
    )
    op.create_table(
        "events",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("id", sa.BigInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "id", name="events_key"),
    )
    op.create_index("events_by_kind", "events", ["vehicle_id", "kind"])
    op.create_table(
        "findings",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", name="findings_key"),
    )
    op.create_table(
        "forecasts",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("at_ms", sa.BigInteger(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "at_ms", name="forecasts_key"),
    )
    op.create_table(
        "gaps",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("from_ms", sa.BigInteger(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "from_ms", "quantity", name="gaps_key"),
    )
    op.create_table(
        "meta",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "name", name="meta_key"),
    )
    op.create_table(
        "replays",
        sa.Column("run", sa.Text(), nullable=False),
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("made_utc_s", sa.Float(), nullable=False),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("run", "vehicle_id", name="replays_key"),
    )
    op.create_table(
        "seen_by",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.SmallInteger(), nullable=False),
        sa.Column("alert_id", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at_utc_s", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.UniqueConstraint("vehicle_id", "line", "alert_id", name="seen_by_key"),
    )
    op.create_table(
        "standing",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("at_utc_s", sa.Float(), nullable=False),
        sa.Column("simulated", sa.Boolean(), nullable=False),
        sa.Column("charge_frac", sa.Float(), nullable=True),
        sa.Column("charge_low_frac", sa.Float(), nullable=True),
        sa.Column("charge_high_frac", sa.Float(), nullable=True),
        sa.Column("starter_v", sa.Float(), nullable=True),
        sa.Column("drain_a", sa.Float(), nullable=True),
        sa.Column("capacity_frac", sa.Float(), nullable=True),
        sa.Column("capacity_low_frac", sa.Float(), nullable=True),
        sa.Column("capacity_high_frac", sa.Float(), nullable=True),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("probability_short", sa.Float(), nullable=True),
        sa.Column("throughput_ah", sa.Float(), nullable=True),
        sa.Column("weeks_count", sa.Integer(), nullable=True),
        sa.Column("chemistry", sa.Text(), nullable=False),
        sa.Column("rated_capacity_ah", sa.Float(), nullable=True),
        sa.Column("high", sa.Integer(), nullable=False),
        sa.Column("medium", sa.Integer(), nullable=False),
        sa.Column("low", sa.Integer(), nullable=False),
        sa.Column("first_seen", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.PrimaryKeyConstraint("vehicle_id"),
    )


def downgrade() -> None:
    """There is no way back: a newer collection is refused with a sentence."""
    raise NotImplementedError
