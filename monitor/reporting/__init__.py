"""Findings in plain sentences."""
