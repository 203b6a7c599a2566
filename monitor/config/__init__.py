"""The configuration: its tables, how it is read, and what is said of its faults."""
