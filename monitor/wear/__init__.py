"""Whether the house battery is used up: resistance, capacity, cycles, verdict."""
