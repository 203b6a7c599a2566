"""Each change of the collector's tables, in order."""
