"""The daemon: reads the instruments on a steady beat, follows both batteries, keeps the log, warns.

Imports point one way: dashboard -> monitor -> drivers.
"""
