"""What was found on the board, as channels to choose from: for each quantity the likeliest first."""
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from drivers.scan import Found

UNIT_OF = {"v": "V", "a": "A", "c": "°C"}
#: Chips whose temperature channel is that of the chip, not of anything it could be taped to.
OWN_WARMTH = ("hwmon", "iio")


@dataclass(frozen=True, slots=True)
class ChannelCandidate:
    """One channel of one instrument. unit is "" where the instrument does not say; value None where it shows nothing."""

    driver: str
    options: dict[str, Any] = field(hash=False)
    title: str
    channel: Any
    unit: str
    value: float | None
    label: str = ""

    @property
    def words(self) -> str:
        """As a person chooses it."""
        place = f"{self.title}, {self.channel}" if self.channel else self.title
        return f"{place} ({self.label})" if self.label else place

    @property
    def shows(self) -> str:
        """What it shows now."""
        if self.value is None:
            return "asked when it is used" if self.driver == "w1" else "no reading"
        return f"{self.value:.3f} {self.unit}".strip()

    @property
    def instrument(self) -> tuple[str, str]:
        """What all channels of one instrument have in common."""
        return self.driver, repr(sorted(self.options.items(), key=lambda item: item[0]))


def list_candidates(found: Iterable[Found]) -> list[ChannelCandidate]:
    """Every channel of everything found."""
    return [ChannelCandidate(one.driver, dict(one.options), one.title, seen.channel, seen.unit, seen.value, seen.label)
            for one in found for seen in one.channels]


def match_candidates(every: list[ChannelCandidate], quantity: str, taken: list[ChannelCandidate]) -> list[tuple[ChannelCandidate, bool]]:
    """What could be this quantity, the likeliest first, and whether each is likely at all.

    every: all channels that were found; quantity: what is looked for; taken: channels that are spoken for.
    """
    unit = UNIT_OF[quantity.rpartition("_")[2]]
    fits = [offer for offer in every if offer.unit in (unit, "") and offer not in taken]
    marks = {id(offer): _likely(offer, quantity, taken) for offer in fits}
    return [(offer, marks[id(offer)] > 0) for offer in sorted(fits, key=lambda o: -marks[id(o)])]


def _likely(offer: ChannelCandidate, quantity: str, taken: list[ChannelCandidate]) -> float:
    """Above 0 for a channel that may well be it; more for the likelier."""
    battery, _, kind = quantity.partition("_")
    said = 4.0 if battery in offer.label.lower() else 0.0
    if any(other in offer.label.lower() for other in ("house", "starter", "solar", "ambient") if other != battery):
        said = -8.0
    beside = any(offer.instrument == other.instrument for other in taken)
    value = offer.value
    if kind.startswith("voltage"):
        if value is None:
            return said - 1.0
        here = 3.0 if 9.0 <= value <= 16.0 else 1.0 if 0.4 <= value < 9.0 else -2.0
        return said + here + (0.5 if beside else 0.0)
    if kind.startswith("current"):
        if value is None or abs(value) > 500:
            return said - 1.0
        # without a unit, what could be a battery's voltage is one
        sure = 2.0 if offer.unit else -1.0 if 9.0 <= value <= 16.0 else 0.5
        return said + sure + (0.5 if beside else 0.0) - (4.0 if quantity == "solar_current_a" and not said else 0.0)
    if offer.driver in OWN_WARMTH:
        return said - 1.0
    return said + (1.0 if offer.unit and offer.driver == "w1" else -1.0)
