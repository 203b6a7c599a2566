"""Asking the instruments: every beat, each in turn, and what to believe of the answers."""
