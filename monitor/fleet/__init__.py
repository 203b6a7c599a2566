"""Many vehicles: what a board publishes of its log, and the collector that takes it. Only the extra `fleet` needs more than a board has."""
