"""A part for all months that have none of their own: old logs, wrong clocks, and the first day of a month that nobody made room for."""
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """From shape 0001, in which the months' parts were made while batches were taken."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("create table blocks_other partition of blocks default")


def downgrade() -> None:
    """There is no way back: a newer collection is refused with a sentence."""
    raise NotImplementedError
