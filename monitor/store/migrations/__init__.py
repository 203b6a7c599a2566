"""From each old shape of the log to the next, in order, each all or nothing (Alembic)."""
