"""Alembic looks here for how it runs."""
