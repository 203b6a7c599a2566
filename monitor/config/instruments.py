"""What an instrument of the configuration is called, for a person: its driver, and what it hangs on."""
import json
from collections.abc import Mapping
from typing import Any

#: Options that name one instrument among others of its driver.
NAMES = ("chip", "device", "sensor", "port", "host", "file", "scenario", "address", "channel")


def title(source: Any) -> str:
    """The driver and its first naming option, as "hwmon, ina226"."""
    options = getattr(source, "options", None)
    for name in NAMES:
        value = getattr(options, name, None)
        if isinstance(value, (str, int)) or hasattr(value, "name"):
            return f"{source.driver}, {getattr(value, 'name', value)}"
    return str(source.driver)


def text(sources: Mapping[str, Any]) -> str:
    """Quantity -> instrument, as the log keeps it."""
    return json.dumps({quantity: title(source) for quantity, source in sorted(sources.items())})
