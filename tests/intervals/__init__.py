"""Every shown figure that has an interval: does it hold the truth as often as it says, and is it no wider than that takes?

Bounds are two-sided on purpose: an interval that is too narrow misses the truth, one that is too wide always holds it
and says nothing. Vehicles, parkings and camps are simulated by plants that share no formula with the trackers, on seeds
that nothing else uses.
"""
