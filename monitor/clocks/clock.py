"""Seconds since boot to measure by, UTC to show: the log's own line of time, and how its labels are kept true."""
from dataclasses import dataclass, replace
from math import exp, hypot, log
from typing import Protocol

from monitor.clocks import testimony
from monitor.clocks.testimony import SLACK_S
from monitor.store.time_labels import LastRow, Testimony, TimeLabel

#: Sigma of a clock that nobody vouches for: ten years [s].
UNKNOWN_S = 3.2e8
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


@dataclass(frozen=True, slots=True)
class Witness:
    """Another clock: the time it shows, its doubt [s], and whose it is."""

    utc_s: float
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

    def witnesses(self) -> tuple["Witness", ...]:
        """Whoever else says what time it is now, each by itself."""

    def hour(self, utc_s: float) -> float:
        """The local clock hour, 0 to 24, of a moment."""

    def wait(self, until_boot_s: float) -> None:
        """Returns at that moment, or earlier when woken."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """The line of time in this boot: at_s = seconds since boot + boot_offset_s. Never goes back, never stands still."""

    boot_offset_s: float
    labels: tuple[TimeLabel, ...]
    heard: tuple[Testimony, ...] = ()
    doubted: Testimony | None = None  # says what time it is in this boot, and is not believed

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

    In the same boot the silence is known exactly. Across boots it is the difference of the clocks where both are
    believed (testimony.py), else the middle of an honest prior, with its doubt. The silence, and a new log, end at
    begun_boot_s, where the first reading was taken (now, if not given).
    clock: the board's clock; last: the last row of the log; begun_boot_s: when the first reading was taken, since boot [s]; None:
    now.
    """
    boot_s, boot_id = clock.boot_s(), clock.boot_id()
    from_s = boot_s if begun_boot_s is None else begun_boot_s
    if last is None:
        label = TimeLabel(0.0, boot_id, clock.utc_s() - (boot_s - from_s), UNKNOWN_S, False, "nobody", boot_offset_s=-from_s)
        return _reconcile(_listen(Timeline(-from_s, (label,)), clock))
    before, heard = last.labels[-1], testimony.heard_of(last.labels) if last.heard is None else last.heard
    if before.boot_id == boot_id and boot_s + last.boot_offset_s >= last.at_s:
        return Timeline(last.boot_offset_s, last.labels, heard)
    if last.written_utc_s is not None and not before.utc_trusted:
        heard = testimony.heard_too(heard, Testimony(last.at_s, before.boot_id, last.written_utc_s - last.at_s, 0.0, testimony.FILE))
    gap_s, doubt_s = _prior(from_s)
    supposed = _after(clock, last, heard, from_s, gap_s, doubt_s)
    ended = _label_at(supposed.labels, last.at_s)
    if supposed.label.utc_trusted and ended.utc_trusted:
        real_s = gap_s + supposed.label.utc_offset_s - ended.utc_offset_s
        doubt_s = hypot(supposed.label.utc_sigma_s, ended.utc_sigma_s)
        return _after(clock, last, heard, from_s, max(real_s, 0.001), doubt_s if doubt_s > NO_DOUBT_S else 0.0)
    return supposed


def _after(clock: Clock, last: LastRow, heard: tuple[Testimony, ...], from_s: float, gap_s: float, doubt_s: float) -> Timeline:
    """The line of time after a silence, dated by whoever can be believed then.

    heard : the witnesses so far
    from_s : seconds since boot at which the silence ended
    gap_s, doubt_s : its length and the doubt about it [s]
    """
    at_s = round(last.at_s + gap_s, 3)  # as the log keeps it
    utc_offset_s = clock.utc_s() - (clock.boot_s() - from_s) - at_s
    label = TimeLabel(at_s, clock.boot_id(), utc_offset_s, UNKNOWN_S, False, "nobody", gap_s, doubt_s, at_s - from_s)
    return _reconcile(_listen(Timeline(at_s - from_s, (*last.labels, label), heard), clock))


def begin_own(own_s: float, last: LastRow | None, begins_utc_s: float, beat_s: float) -> Timeline:
    """The line of time of a source that brings its own: begun at its second 0, or going on a beat after the log's end.

    own_s: the source's own time [s]; last: the last row of the log; begins_utc_s: UTC of second 0 of sources that bring
    their own time [s]; beat_s: time between readings [s].
    """
    if last is None:
        return Timeline(0.0, (TimeLabel(0.0, "its own time", begins_utc_s, 0.0, True, "the source"),))
    return Timeline(0.0 if own_s > last.at_s else last.at_s + beat_s - own_s, last.labels, last.heard or ())


def look(line: Timeline, clock: Clock) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """Compares the labels with the clocks; returns the line and the labels to be written anew, the latest first.

    A clock that is set changes labels and nothing else: of the boot and of any boot before it.
    """
    after = _listen(line, clock)
    if after.heard is not line.heard:
        return _with_changes(line, _reconcile(after))
    held, offset_s = line.label, clock.utc_s() - line.at_s(clock.boot_s())
    if held.utc_trusted or held.utc_sigma_s < UNKNOWN_S or abs(offset_s - held.utc_offset_s) <= SLACK_S:
        return line, ()  # what was known is better than a clock that nobody vouches for
    return _with_changes(line, replace(line, labels=(*line.labels[:-1], replace(held, utc_offset_s=offset_s))))


def add_testimony(line: Timeline, at_s: float, offset_s: float, sigma_s: float, source: str) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """The line after somebody said what time it is at at_s, and the labels to be written anew.

    offset_s: what makes UTC of the log's time [s]; sigma_s: one sigma of the time [s]; source: where the time comes from; line: the
    line of time so far; at_s: the moment meant, on that line [s].
    """
    said = Testimony(at_s, line.label.boot_id, offset_s, sigma_s, source)
    return _with_changes(line, _reconcile(replace(line, heard=testimony.heard_too(line.heard, said))))


def take_back_testimony(line: Timeline, heard: tuple[Testimony, ...], sources: frozenset[str]) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    """The line after somebody took back what was said, and the labels to be written anew.

    line: of time; heard: the witnesses that are left; sources: who took something back: what they alone dated is nobody's
    date any more.
    """
    spoke = {(t.boot_id, t.source) for t in heard}
    labels = tuple(replace(x, utc_sigma_s=UNKNOWN_S, utc_trusted=False, source="nobody")
                   if x.source in sources and (x.boot_id, x.source) not in spoke else x for x in line.labels)
    return _with_changes(line, _reconcile(replace(line, labels=labels, heard=heard)))


def _listen(line: Timeline, clock: Clock) -> Timeline:
    """The line with what the clocks say now, where any of it is new."""
    at_s, heard, trust = line.at_s(clock.boot_s()), line.heard, clock.trust()
    mine = (Witness(clock.utc_s(), trust.sigma_s, trust.source),) if trust.trusted else ()
    for w in (*mine, *clock.witnesses()):
        heard = testimony.heard_too(heard, Testimony(at_s, clock.boot_id(), w.utc_s - at_s, w.sigma_s, w.source))
    return line if heard is line.heard else replace(line, heard=heard)


def _reconcile(line: Timeline) -> Timeline:
    agreed = testimony.agree(line.labels, line.heard)
    return replace(line, labels=agreed.labels, doubted=agreed.doubted)


def _with_changes(before: Timeline, after: Timeline) -> tuple[Timeline, tuple[TimeLabel, ...]]:
    old = {x.at_s: x for x in before.labels}
    return after, tuple(x for x in reversed(after.labels) if old.get(x.at_s) != x)


def _label_at(labels: tuple[TimeLabel, ...], at_s: float) -> TimeLabel:
    """How a moment of the log is labelled."""
    return next((x for x in reversed(labels) if x.at_s <= at_s), labels[0])


def _prior(uptime_s: float) -> tuple[float, float]:
    """Median of a log-uniform silence, at least as long as this boot is old, and half its 68 % width [s]."""
    low, high = log(max(SHORTEST_S, uptime_s)), log(max(LONGEST_S, 2 * uptime_s))

    def at(share: float) -> float:
        return exp(low + share * (high - low))

    return at(0.5), (at(0.84) - at(0.16)) / 2
