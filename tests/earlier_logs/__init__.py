"""Logs as earlier shapes of the program wrote them; make.py says how."""
