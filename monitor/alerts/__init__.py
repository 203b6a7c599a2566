"""Alerts: when they are raised and cleared, and how they reach a person."""
