"""How full the house battery is: one filter that counts and lets the voltage correct."""
