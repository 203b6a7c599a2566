"""Engine and isolator: whether the batteries are joined, should be, and what the join drops."""
