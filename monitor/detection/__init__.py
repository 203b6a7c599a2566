"""Yes or no: engine, relay, drains, starts, instruments that contradict themselves. Pure folds over minutes."""
