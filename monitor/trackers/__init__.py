"""The trackers: pure folds over minutes. Running order is in monitor/watch.py."""
