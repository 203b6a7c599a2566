"""A checksum behind each row. Rows from before have none (NULL) until the writer has come to them."""
from alembic import op

revision = "0003"
down_revision = "0002"

TABLES = ("meta", "boots", "samples", "minutes", "quarters", "hours", "days", "forecasts", "events", "alerts", "gaps")


def upgrade() -> None:
    """Takes no longer for a large log than for a small one."""
    for table in TABLES:
        op.execute(f"ALTER TABLE {table} ADD COLUMN crc INTEGER")


def downgrade() -> None:
    """There is no way back: a newer log is refused with a sentence."""
    raise NotImplementedError
