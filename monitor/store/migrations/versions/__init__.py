"""One file for each change of shape."""
