"""What a channel's readings are multiplied by beside the configuration: found against a meter while the daemon runs, kept in the log."""
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from drivers.reading import Reading

#: The two that change places where the batteries were called by each other's names.
OTHER = {"house_voltage_v": "starter_voltage_v", "starter_voltage_v": "house_voltage_v"}
#: Quantities whose channel can be put right.
CORRECTABLE = (*OTHER, "house_current_a")


@dataclass(frozen=True, slots=True)
class ChannelCorrection:
    """One channel's correction.

    quantity: as the configuration calls what the channel measures; channel: what the configuration says of it, for a
    correction ends with the channel or scale it was found for; factor: true over shown, -1 turns a current round;
    sigma_frac: one standard deviation of it, as a fraction, None: not compared with a meter.
    """

    quantity: str
    channel: str
    factor: float = 1.0
    sigma_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Corrections:
    """All corrections of the log. exchanged: the two voltage channels whose batteries have changed names, "": none."""

    rows: tuple[ChannelCorrection, ...] = ()
    exchanged: str = ""

    def of(self, quantity: str, channel: str) -> ChannelCorrection | None:
        """The correction of a channel, if there is one.

        quantity: as the configuration calls it; channel: what the configuration says of it
        """
        return next((row for row in self.rows if (row.quantity, row.channel) == (quantity, channel)), None)

    def put(self, row: ChannelCorrection) -> "Corrections":
        """With one in place of what was there for its quantity."""
        return replace(self, rows=(*(r for r in self.rows if r.quantity != row.quantity), row))


def describe_channel(source: Any, quantity: str) -> str:
    """What the configuration says of the channel that a source has for a quantity, as text.

    source: of the configuration; quantity: one that it gives
    """
    options: Any = getattr(source, "options", None)
    plain = options.model_dump(mode="json") if hasattr(options, "model_dump") else {}
    measures = plain.pop("measures", None)
    channel = measures.get(quantity) if isinstance(measures, dict) else measures
    return json.dumps([source.driver, plain, channel], sort_keys=True, default=str)


def put_right(reading: Reading, factor_of: Callable[[str], float | None], exchanged: bool) -> Reading:
    """A reading with its channels corrected.

    reading: as the instrument gave it; factor_of: the factor of a quantity, None: its divider is not known, so that nothing
    is said of it; exchanged: the two voltages change names
    """
    name = OTHER if exchanged else {}
    factors = {quantity: factor_of(quantity) if quantity in CORRECTABLE else 1.0 for quantity in reading.values}
    if not exchanged and all(factor == 1.0 for factor in factors.values()):
        return reading
    values = {name.get(q, q): value * factor for q, value in reading.values.items() if (factor := factors[q]) is not None}
    faults = tuple(replace(fault, quantity=name.get(fault.quantity, fault.quantity)) for fault in reading.faults)
    fast = factor_of("house_voltage_v" if exchanged else "starter_voltage_v") if reading.fast_starter else 1.0
    return replace(reading, values=values, faults=faults,
                   fast_starter=() if fast is None else tuple((at_s, value * fast) for at_s, value in reading.fast_starter))
