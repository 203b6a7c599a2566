"""The channels of the running daemon: their corrections from the log, put on each reading, and what they showed lately."""
from collections import deque
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from drivers.reading import Reading
from monitor.battery.label import Vehicle
from monitor.logbook.live_readings import LiveReadingsFile
from monitor.sampling.correction import CORRECTABLE, OTHER, Corrections, describe_channel, put_right
from monitor.store import saving

#: Latest readings that are kept of each quantity: half an hour at one a second.
KEPT_READINGS = 1800


class Channels:
    """What corrects the readings of the configuration's sources.

    unknown: quantities whose divider the configuration does not know; database: the log, whose pages are shown the readings
    """

    def __init__(self, sources: Iterable[Any], unknown: frozenset[str], database: Path) -> None:
        self._sources, self._unknown, self._file = tuple(sources), unknown, LiveReadingsFile(database)
        self._at_pin: dict[str, float] = {}
        self.corrections = Corrections()
        self._texts: dict[tuple[int, str], str] = {}
        self._recent: dict[str, deque[tuple[float, float]]] = {q: deque(maxlen=KEPT_READINGS) for q in CORRECTABLE}

    def go_on(self, text: str | None) -> None:
        """Takes over what the log keeps; nothing where that is of another version."""
        try:
            self.corrections = saving.from_text(Corrections, text) if text else Corrections()
        except ValueError:
            self.corrections = Corrections()

    def apply_to(self, vehicle: Vehicle) -> Vehicle:
        """The vehicle with the doubts of the voltmeters that were compared since the configuration was written."""
        for quantity, name in OTHER.items():
            place = quantity.partition("_")[0]
            asked = name if self.exchanged else quantity
            row = next((r for s in self._sources if (r := self.corrections.of(asked, self._text(s, asked)))), None)
            if row is not None and row.sigma_frac is not None:
                label = replace(getattr(vehicle, place), voltage_sigma_frac=row.sigma_frac)
                vehicle = replace(vehicle, house=label) if place == "house" else replace(vehicle, starter=label)
        return vehicle

    @property
    def exchanged(self) -> bool:
        """Whether the two voltages have changed names, and both channels are still those."""
        return bool(self.corrections.exchanged) and self.corrections.exchanged == self.both()

    def both(self) -> str:
        """What the configuration says of the two voltage channels; "" where one is missing."""
        found = [self.channel(quantity) for quantity in OTHER]
        return "\n".join(text for text in found if text is not None) if None not in found else ""

    def channel(self, quantity: str) -> str | None:
        """What the configuration says of the first channel it has for a quantity; None: it has none."""
        source = next((s for s in self._sources if quantity in _given_by(s)), None)
        return None if source is None else self._text(source, quantity)

    def channel_of(self, quantity: str) -> tuple[str, str] | None:
        """(what the configuration calls a quantity, what it says of its channel); None: it has no channel for it."""
        configured = OTHER[quantity] if quantity in OTHER and self.exchanged else quantity
        text = self.channel(configured)
        return None if text is None else (configured, text)

    def is_unknown(self, quantity: str) -> bool:
        """Whether nobody knows yet the divider in front of the channel that shows a quantity."""
        found = self.channel_of(quantity)
        return found is not None and found[0] in self._unknown and self.corrections.of(*found) is None

    def unknown_quantities(self) -> frozenset[str]:
        """Quantities that are measured and not believed, as they are called now."""
        return frozenset(quantity for quantity in OTHER if self.is_unknown(quantity))

    def right(self, answers: list[tuple[Any, Reading]], at_s: float) -> list[tuple[Any, Reading]]:
        """The answers of one beat with their channels corrected.

        answers: (instrument, its reading); at_s: the log's time [s]
        """
        if not self.corrections.rows and not self._unknown and not self.corrections.exchanged:
            return answers
        exchanged, self._at_pin = self.exchanged, {}
        for quantity in self.unknown_quantities():
            configured = OTHER[quantity] if exchanged else quantity
            raw = next((r.values[configured] for _, r in answers if configured in r.values), None)
            if raw is not None:
                self._at_pin[quantity] = raw
                self._recent[quantity].append((at_s, raw))
        return [(instrument, put_right(reading, lambda q, s=instrument.source: self._factor(s, q), exchanged))  # type: ignore[misc]
                for instrument, reading in answers]

    def note(self, at_s: float, values: dict[str, float]) -> None:
        """Remembers what was believed at a moment, and shows it to the pages."""
        self._file.write(values, self._at_pin)
        for quantity in CORRECTABLE:
            if quantity in values:
                self._recent[quantity].append((at_s, values[quantity]))

    def recent(self, quantity: str, from_s: float) -> list[tuple[float, float]]:
        """(moment, value) of what a quantity showed since a moment of the last half hour; at the pin where its divider is unknown."""
        return [pair for pair in self._recent[quantity] if pair[0] >= from_s]

    def currents_since(self, from_s: float) -> list[float]:
        """House currents measured since a moment of the last half hour [A]."""
        return [value for _, value in self.recent("house_current_a", from_s)]

    def take(self, corrections: Corrections) -> bool:
        """Corrects by these from now on; whether they are others. What a channel showed before is of no use after it."""
        before, self.corrections = self.corrections, corrections
        if corrections == before:
            return False
        for quantity in CORRECTABLE:
            rows = [[row for row in c.rows if row.quantity == quantity] for c in (before, corrections)]
            if rows[0] != rows[1] or quantity in OTHER and before.exchanged != corrections.exchanged:
                self._recent[OTHER.get(quantity, quantity) if self.exchanged else quantity].clear()
        return True

    def _factor(self, source: Any, quantity: str) -> float | None:
        row = self.corrections.of(quantity, self._text(source, quantity))
        return row.factor if row is not None else None if quantity in self._unknown else 1.0

    def _text(self, source: Any, quantity: str) -> str:
        key = id(source), quantity
        if key not in self._texts:
            self._texts[key] = describe_channel(source, quantity)
        return self._texts[key]


def _given_by(source: Any) -> Iterable[str]:
    measures = getattr(getattr(source, "options", None), "measures", None)
    if measures is None:
        return CORRECTABLE  # a simulated or recorded vehicle: whatever it gives
    return (measures,) if isinstance(measures, str) else measures
