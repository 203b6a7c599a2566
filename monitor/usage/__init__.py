"""Where the charge comes from and where it goes: loads, fridge, sun."""
