"""Published relations of the two chemistries: pure functions with their sources."""
