"""Whether the instruments and their wires tell the truth."""
