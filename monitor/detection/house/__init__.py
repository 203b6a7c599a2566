"""What the house battery must not be put through: voltage, heat, cold, frost, deep discharge, never full."""
