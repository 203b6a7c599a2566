"""Time: seconds since boot for measuring, UTC for showing, and where UTC comes from."""
