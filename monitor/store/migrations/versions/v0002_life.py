"""Load, harvest and throttling in the roll-ups: what a life is made of, for asking about another battery."""
from alembic import op

revision = "0002"
down_revision = "0001"

COLUMNS = ("load_ma", "harvest_ma", "curtailed_e3")


def upgrade() -> None:
    """Rows from before have no value there."""
    for level in ("minutes", "quarters", "hours", "days"):
        for column in COLUMNS:
            op.execute(f"ALTER TABLE {level} ADD COLUMN {column} INTEGER")


def downgrade() -> None:
    """There is no way back: a newer log is refused with a sentence."""
    raise NotImplementedError
