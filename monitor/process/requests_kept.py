"""What a request may change, what it may know of the present, and what comes of it: the words of the owner's requests."""
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.logbook.entries import Entries
from monitor.sampling.correction import Corrections
from monitor.store.batch import Batch
from monitor.store.state import State
from monitor.store.time_labels import Testimony, TimeLabel
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.watched_test import WatchedTest

#: Trackers that begin anew with a battery, and are learnt again once its entry is undone.
LEARNT = {"house": ("charge", "health", "limits"), "starter": ("starter",)}


@dataclass(frozen=True, slots=True)
class Kept:
    """What a request may change: the saved state, the vehicle as it is known, the batteries it has had, the owner's entries,
    the capacity test that was asked for, the corrections of channels."""

    state: State
    vehicle: Vehicle
    history: BatteryHistory
    entries: Entries = Entries()
    test: WatchedTest | None = None
    corrections: Corrections = Corrections()


def _no_dating(*_: Any) -> tuple[TimeLabel, ...]:
    raise ValueError("the time cannot be set here")


@dataclass(frozen=True, slots=True)
class Moment:
    """What a request may need to know of the present.

    at_s is the log's time, utc_offset_s what makes UTC of it; begin gives fresh trackers for a vehicle;
    currents_since(at_s) the house currents measured since a moment of the last half hour [A]; by is who asked.
    readings_since(quantity, at_s) is what a quantity showed since a moment of the last half hour, as (moment, value);
    channel_of(quantity) what the configuration calls it and says of its channel, is_unknown(quantity) whether its divider is
    not known yet, voltage_channels() what it says of both voltages' channels, "" where one is missing.
    tell_time(utc_s, sigma_s, boot_s, sure) dates the log by the owner's word, said_by_owner() is what the owner said of
    the time so far, take_back_time(that) goes back to it; both of the former give the labels to be written.
    """

    at_s: float
    utc_offset_s: float
    begin: Callable[[Vehicle], Any]
    currents_since: Callable[[float], list[float]]
    by: str = ""
    tell_time: Callable[[float, float, float, bool], tuple[TimeLabel, ...]] = _no_dating
    said_by_owner: Callable[[], tuple[Testimony, ...]] = tuple
    take_back_time: Callable[[tuple[Testimony, ...]], tuple[TimeLabel, ...]] = _no_dating
    readings_since: Callable[[str, float], list[tuple[float, float]]] = lambda *_: []
    channel_of: Callable[[str], tuple[str, str] | None] = lambda _: None
    is_unknown: Callable[[str], bool] = lambda _: False
    voltage_channels: Callable[[], str] = str

    @property
    def utc_s(self) -> float:
        """The present as UTC."""
        return self.at_s + self.utc_offset_s


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is kept from now on, what is to be logged (None: nothing changed), what the log remembers by name, what became
    of alerts, for the deliveries, and which trackers are to be learnt again from the log."""

    kept: Kept
    batch: Batch | None = None
    remember: tuple[tuple[str, str], ...] = ()
    changes: tuple[rules.AlertChange, ...] = ()
    relearn: tuple[str, ...] = ()
    refused: str = ""
    entry: int | None = None

    @property
    def said(self) -> str:
        """What is told back to whoever asked."""
        if self.refused:
            return self.refused
        return " ".join(event.message for event in self.batch.events) if self.batch is not None else "It is so already."
