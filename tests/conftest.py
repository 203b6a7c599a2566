"""For all tests: a busy machine may take longer over an example than the library allows; times belong to the benchmarks."""
from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
