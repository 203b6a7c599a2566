"""Years left of each vehicle's house battery, as the collector worked them out."""
import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """From shape 0002."""
    op.create_table(
        "years",
        sa.Column("vehicle_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("made_utc_s", sa.Float(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("low", sa.Float(), nullable=True),
        sa.Column("high", sa.Float(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["vehicle_id"], ["vehicles.id"]),
        sa.PrimaryKeyConstraint("vehicle_id"),
    )


def downgrade() -> None:
    """There is no way back: a newer collection is refused with a sentence."""
    raise NotImplementedError
