"""Seconds since boot to measure by, UTC to show: the log's own line of time, and how its labels are kept true."""
from dataclasses import dataclass, replace
from math import exp, hypot, log
from typing import Protocol

from monitor.store.time_labels import LastRow, TimeLabel

#: Sigma of a clock that nobody vouches for: ten years [s].
UNKNOWN_S = 3.2e8
#: A trusted clock and its label may differ by so much before a new label is written [s].
SLACK_S = 2.0
#: A silence between boots whose length nobody knows: log-uniform between a minute and sixty days.
SHORTEST_S, LONGEST_S = 60.0, 60 * 86400.0
#: Below this the doubt about a silence between two trusted clocks is none at all to a battery [s].
NO_DOUBT_S = 5.0


@dataclass(frozen=True, slots=True)
class Trust:
    """Whether somebody vouches for the wall clock, how well, and who."""

    trusted: bool
    sigma_s: float
    source: str


class Clock(Protocol):
    """What the daemon needs of time; a test moves one by hand."""

    def boot_s(self) -> float:
        """Seconds since boot, suspend counted; nobody can set them."""

    def utc_s(self) -> float:
        """The wall clock, right or wrong."""

    def boot_id(self) -> str:
        """Another one after each boot."""

    def trust(self) -> Trust:
        """Who vouches for the wall clock."""

    def hour(self, utc_s: float) -> float:
        """The local clock hour, 0 to 24, of a moment."""

    def wait(self, until_boot_s: float) -> None:
        """Returns at that moment, or earlier when woken."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """The line of time in this boot: at_s = seconds since boot + boot_offset_s. Never goes back, never stands still."""

    boot_offset_s: float
    labels: tuple[TimeLabel, ...]

    def at_s(self, boot_s: float) -> float:
        """The moment on the line."""
        return boot_s + self.boot_offset_s

    @property
    def label(self) -> TimeLabel:
        """How the present is labelled."""
        return self.labels[-1]

    def utc_s(self, at_s: float) -> float:
        """UTC of a moment in the present stretch, as well as it is known."""
        return at_s + self.label.utc_offset_s


def begin(clock: Clock, last: LastRow | None, begun_boot_s: float | None = None) -> Timeline:
    """The line of time goes on where the log ended, after the silence that must be supposed.

    In the same boot the silence is known exactly. Across boots it is the difference of the wall clocks where
    both were trusted, else the middle of an honest prior, with its doubt. A new log begins at begun_boot_s, where
    its first reading was taken before it was opened.
    """
    boot_s, utc_s, boot_id, trust = clock.boot_s(), clock.utc_s(), clock.boot_id(), clock.trust()
    if last is None:
        from_s = boot_s if begun_boot_s is None else begun_boot_s
        label = TimeLabel(0.0, boot_id, utc_s - (boot_s - from_s), trust.sigma_s, trust.trusted, trust.source, boot_offset_s=-from_s)
        return Timeline(-from_s, (label,))
    before = last.labels[-1]
    if before.boot_id == boot_id and boot_s + last.boot_offset_s >= last.at_s:
        return Timeline(last.boot_offset_s, last.labels)
    ended_utc_s = last.at_s + before.utc_offset_s
    gap_s, doubt_s = _prior(boot_s)
    if trust.trusted and before.utc_trusted and utc_s > ended_utc_s:
        gap_s, doubt_s = utc_s - ended_utc_s, hypot(trust.sigma_s, before.utc_sigma_s)
        doubt_s = doubt_s if doubt_s > NO_DOUBT_S else 0.0
    at_s = last.at_s + max(gap_s, 0.001)
    if not trust.trusted and before.utc_sigma_s < UNKNOWN_S:
        # nobody vouches for this clock: the line of time itself is the better guess, and never before the log's end
        utc_s, trust = ended_utc_s + gap_s, Trust(False, hypot(before.utc_sigma_s, doubt_s), "counted on")
    label = TimeLabel(at_s, boot_id, utc_s - at_s, trust.sigma_s, trust.trusted, trust.source, gap_s, doubt_s, at_s - boot_s)
    labels = (label,) if label.utc_trusted else (*last.labels, label)
    return Timeline(at_s - boot_s, labels)


def begin_own(own_s: float, last: LastRow | None, begins_utc_s: float, beat_s: float) -> Timeline:
    """The line of time of a source that brings its own: begun at its second 0, or going on a beat after the log's end."""
    if last is None:
        return Timeline(0.0, (TimeLabel(0.0, "its own time", begins_utc_s, 0.0, True, "the source"),))
    return Timeline(0.0 if own_s > last.at_s else last.at_s + beat_s - own_s, last.labels)


def look(line: Timeline, clock: Clock) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """Compares the labels with the wall clock; returns the line and the labels to be written anew.

    A wall clock that is set changes labels and nothing else. When a trusted time appears, the whole boot is
    dated by it, and boots before it that nobody could date are dated backwards from it.
    """
    trust, held = clock.trust(), line.label
    at_s = line.at_s(clock.boot_s())
    offset_s = clock.utc_s() - at_s
    if not trust.trusted:
        if held.utc_trusted or held.utc_sigma_s < UNKNOWN_S or abs(offset_s - held.utc_offset_s) <= SLACK_S:
            return line, ()  # what was known is better than a clock that nobody vouches for
        return _with(line, replace(held, utc_offset_s=offset_s))
    return dated(line, at_s, offset_s, trust)


def dated(line: Timeline, at_s: float, offset_s: float, trust: Trust) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """The line after somebody trusted said what time it is at at_s."""
    held = line.label
    true = replace(held, utc_offset_s=offset_s, utc_sigma_s=trust.sigma_s, utc_trusted=True, source=trust.source)
    if not held.utc_trusted or trust.sigma_s < held.utc_sigma_s / 2:
        return _backwards(line, true)
    if abs(offset_s - held.utc_offset_s) <= SLACK_S + 2 * hypot(trust.sigma_s, held.utc_sigma_s):
        return line, ()
    new = replace(true, at_s=at_s, gap_s=0.0, gap_doubt_s=0.0)
    return Timeline(line.boot_offset_s, (new,)), (new,)


def _with(line: Timeline, label: TimeLabel) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    return Timeline(line.boot_offset_s, (*line.labels[:-1], label)), (label,)


def _backwards(line: Timeline, true: TimeLabel) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """Boots that nobody could date lie before this one by the silences that were supposed."""
    changed, later = [true], true
    for label in reversed(line.labels[:-1]):
        if label.utc_trusted:
            break
        sigma_s = hypot(later.utc_sigma_s, later.gap_doubt_s)
        later = replace(label, utc_offset_s=true.utc_offset_s, utc_sigma_s=sigma_s, source="dated backwards")
        changed.append(later)
    return Timeline(line.boot_offset_s, (true,)), tuple(changed)


def _prior(uptime_s: float) -> tuple[float, float]:
    """Median of a log-uniform silence, at least as long as this boot is old, and half its 68 % width [s]."""
    low, high = log(max(SHORTEST_S, uptime_s)), log(max(LONGEST_S, 2 * uptime_s))

    def at(share: float) -> float:
        return exp(low + share * (high - low))

    return at(0.5), (at(0.84) - at(0.16)) / 2
