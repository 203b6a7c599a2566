"""The log: one writer, read-only questions, thinning."""
