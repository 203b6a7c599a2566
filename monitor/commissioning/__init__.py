"""From a blank board to a right configuration: what to ask, what to measure, what to write."""
