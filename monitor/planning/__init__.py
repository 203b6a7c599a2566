"""Before and after the log: cable sizes, a first system from a list of loads, the same life with another battery."""
