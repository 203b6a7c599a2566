"""What of samples, minutes and findings becomes rows of the log, and is read back: the typed door to the store."""
