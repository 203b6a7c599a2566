"""What a battery says of itself: each kind of reading with when it applies, what it expects and what it may not teach."""
