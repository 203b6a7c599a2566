"""Pages drawn from the log, in a process of their own that only reads."""
