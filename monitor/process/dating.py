"""How the log is dated while it runs: the line of time, who is believed, what the owner is asked."""
import logging
from datetime import UTC, datetime

from monitor.clocks import clock as clocks
from monitor.clocks import testimony
from monitor.clocks.clock import Clock, Timeline
from monitor.findings import Condition, Event
from monitor.store.time_labels import LastRow, Testimony, TimeLabel

log = logging.getLogger("ampledger")

#: A date that moves by more than this is told of [s]: less is a chip that was off.
MOVED_S = 3600.0
#: So long without anybody who confirms the time is worth an alert [s].
UNCONFIRMED_S = 86400.0
#: An owner's word further than this from how the log is dated after it was not believed [s].
BESIDE_S = 3 * testimony.ASIDE_S[testimony.OWNER]
#: Who speaks for the owner.
OWNERS = frozenset({testimony.OWNER, testimony.SURE})


class Dating:
    """The line of time of one run. begins_utc_s: UTC of second 0 of sources that bring their own time, else None."""

    def __init__(self, clock: Clock, begins_utc_s: float | None, beat_s: float) -> None:
        self._clock, self._begins_utc_s, self._beat_s = clock, begins_utc_s, beat_s
        self._begun_boot_s = clock.boot_s()
        self.line: Timeline | None = None

    def begin(self, last: LastRow | None, own_s: float | None, first_boot_s: float) -> tuple[tuple[TimeLabel, ...], tuple[Event, ...]]:
        """Begins the line; returns the labels to be written and what is to be told.

        last : where the log ended, None in a new one
        own_s : the source's own second, None where the board's clock is measured by
        first_boot_s : seconds since boot of the first reading
        """
        if own_s is None or self._begins_utc_s is None:
            self.line = clocks.begin(self._clock, last, first_boot_s)
        else:
            self.line = clocks.begin_own(own_s, last, self._begins_utc_s, self._beat_s)
        old = {x.at_s: x for x in last.labels} if last else {}
        labels = tuple(x for x in reversed(self.line.labels) if old.get(x.at_s) != x)
        at_s = max(self.line.label.at_s, last.at_s if last else 0.0)
        return labels, self._report_moves(old, labels, at_s)

    def timeline(self) -> Timeline:
        """The line of time, which begin() has begun."""
        assert self.line is not None, "the line of time is begun with the first reading"
        return self.line

    def look(self, at_s: float) -> tuple[tuple[TimeLabel, ...], tuple[Event, ...]]:
        """Asks the clocks again, once a minute; returns the labels to be written anew and what is to be told."""
        if self._begins_utc_s is not None:
            return (), ()
        before = self.timeline()
        self.line, labels = clocks.look(before, self._clock)
        if labels and self.line.heard is not before.heard:
            log.info("the log's time is dated anew: %s, give or take %.0f s (before: %s)", self.line.label.source,
                     self.line.label.utc_sigma_s, before.label.source)
        return labels, self._report_moves({x.at_s: x for x in before.labels}, labels, at_s) if labels else ()

    def by_owner(self, utc_s: float, sigma_s: float, boot_s: float, sure: bool) -> tuple[TimeLabel, ...]:
        """Takes the owner's word for the time at boot_s; returns labels to be written.

        utc_s: the time it was, UTC [s]; sigma_s: one sigma of it [s]; boot_s: at this moment since boot [s]; sure: the owner
        insists.

        Raises
        ------
        ValueError : the moment is not of this boot, the time is invented, or it cannot be believed
        """
        if self._begins_utc_s is not None:
            raise ValueError("the sources of this log bring their own time")
        if not self._begun_boot_s - 1 <= boot_s <= self._clock.boot_s() + 1:
            raise ValueError("it was asked before the monitor was started; ask again")
        if not testimony.possible(utc_s):
            raise ValueError(f"{_day(utc_s)} is not a date that can be: set the phone's clock first")
        line = self.timeline()
        at_s = line.at_s(boot_s)
        after, labels = clocks.add_testimony(line, at_s, utc_s - at_s, sigma_s, testimony.SURE if sure else testimony.OWNER)
        if abs(after.label.utc_offset_s - (utc_s - at_s)) > BESIDE_S:
            raise ValueError(f"{_day(utc_s)} does not fit the log, which is at about {_day(after.utc_s(at_s))} by "
                             f"{after.label.source}; if it is right, say it again as sure")
        self.line = after
        return labels

    def said_by_owner(self) -> tuple[Testimony, ...]:
        """What the owner has said of the time so far."""
        return tuple(t for t in self.witnesses() if t.source in OWNERS)

    def take_back(self, before: tuple[Testimony, ...]) -> tuple[TimeLabel, ...]:
        """Goes back to what the owner had said before; returns labels to be written."""
        line = self.timeline()
        others = [t for t in line.heard if t.source not in OWNERS or t in before]
        heard = (*(t for t in before if t not in others), *others)
        self.line, labels = clocks.take_back_testimony(line, heard, OWNERS)
        return labels

    def witnesses(self) -> tuple[Testimony, ...]:
        """The witnesses so far, to be kept with the log."""
        return self.line.heard if self.line is not None else ()

    def conditions(self, at_s: float) -> tuple[Condition, ...]:
        """A date that is not believed, and a clock that nobody confirms."""
        if self._begins_utc_s is not None or self.line is None:
            return ()
        doubted, label = self.line.doubted, self.line.label
        says = "" if doubted is None else _day(at_s + doubted.utc_offset_s)
        days = 0.0 if doubted is None else (doubted.utc_offset_s - label.utc_offset_s) / 86400
        return (
            Condition(
                "clock_doubtful", "vehicle", doubted is not None, "medium",
                "The board's clock shows an unlikely date." if doubted else "",
                "One clock alone is not believed so far from everything before. Measuring goes on, by the length of silence that is "
                "most likely; only dates are unsure, and all of them are put right when the time is known.",
                "Is that the date? Say so on the page About (or `ampledger clock --sure`). If not, wait for the right one.",
                "It clears when a second clock agrees, the first one shows a possible date, or you say what time it is.",
                evidence=f"It ({doubted.source}) says {says}, {abs(days):.0f} days "
                         f"{'later' if days > 0 else 'earlier'} than the log can be." if doubted else ""),
            Condition(
                "clock_unconfirmed", "vehicle", not label.utc_trusted and doubted is None, "low",
                "The board's time is not confirmed.", "Charge and warnings do not need it; dates, and what depends on the "
                "hour of the day, do.",
                "Open the page About with a phone and set the clock; or a network, a clock chip, a satellite receiver.",
                "It clears when somebody confirms the time.", on_delay_s=UNCONFIRMED_S))

    def _report_moves(self, old: dict[float, TimeLabel], labels: tuple[TimeLabel, ...], at_s: float) -> tuple[Event, ...]:
        """Dates of earlier days that moved."""
        moved = [(old[x.at_s], x) for x in labels if x.at_s in old and old[x.at_s].utc_sigma_s < clocks.UNKNOWN_S
                 and abs(old[x.at_s].utc_offset_s - x.utc_offset_s) > max(MOVED_S, 2 * old[x.at_s].utc_sigma_s)]
        if not moved:
            return ()
        before, after = max(moved, key=lambda pair: abs(pair[0].utc_offset_s - pair[1].utc_offset_s))
        days = (after.utc_offset_s - before.utc_offset_s) / 86400
        return (Event(at_s, "dated_anew", "vehicle", f"The log's dates were put right in {len(moved)} stretches, by up to {days:+.1f} days "
                      f"({after.source}). No figure changes by it.", (("moved_days", days),)),)


def _day(utc_s: float) -> str:
    try:
        return datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
    except (ValueError, OverflowError, OSError):
        return f"{utc_s:.0f} s since 1970"
