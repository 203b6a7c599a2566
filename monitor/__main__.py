"""Runs the command line: python -m monitor."""
from monitor.cli import main

main()
