"""Circuits of a 12 V vehicle on paper: conductor, fuse, relay, heat and drop by published tables; gas and ventilation."""
