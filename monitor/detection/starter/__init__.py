"""The starter battery: its level, what drains it, how it turns the engine."""
