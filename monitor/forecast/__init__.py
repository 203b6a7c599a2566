"""Whether the charge lasts until the sun is back, and what closes the gap."""
