"""ampledger watches itself: checks and copies that fail or are late, a lost end of the log, power cuts in number."""
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace

from monitor.findings import Condition
from monitor.store import saving

log = logging.getLogger("ampledger")

DAY_S = 86400.0
#: A copy is late when the latest good one is so old [s]: three nights, and one that was slept through.
LATE_S = 4 * DAY_S
#: What the log has lost stays an alert for so long [s].
LOST_S = 3 * DAY_S
#: So many unclean ends within a week are worth a word: about two a day. Our choice.
CUTS_COUNT, CUTS_S = 12, 7 * DAY_S
#: An overdue copy is made up for soon after a start; only then is it late [s].
MADE_UP_S = 6 * 3600.0
CHECK, COPY, THINNING = "check", "backup", "thinning"


@dataclass(frozen=True, slots=True)
class Job:
    """One of the night's jobs: when it last went well, and why it does not; at_s on the log's own line of time."""

    name: str
    well_s: float
    why: str = ""
    failing_s: float | None = None


@dataclass(frozen=True, slots=True)
class SelfWatchState:
    """What is kept with the log, so that an alert outlives a restart."""

    jobs: tuple[Job, ...] = ()
    cuts_s: tuple[float, ...] = ()
    lost_s: float | None = None   # when the loss was found
    lost: str = ""


class SelfWatch:
    """Holds it. remember(text) keeps it with the log; from any thread."""

    def __init__(self, text: str | None, remember: Callable[[str], None] = lambda _: None) -> None:
        self._remember = remember
        try:
            self.state: SelfWatchState = SelfWatchState() if text is None else saving.from_text(SelfWatchState, text)
        except ValueError as error:
            log.warning("what ampledger knew of itself cannot be read: %s", error)
            self.state = SelfWatchState()

    def note_job(self, name: str, at_s: float, why: str = "") -> None:
        """A job of the night went well, or why it did not.

        name: of the job; at_s: the log's time [s]; why: what went wrong, "": nothing.
        """
        before = next((j for j in self.state.jobs if j.name == name), Job(name, at_s))
        since_s = at_s if before.failing_s is None else before.failing_s
        after = replace(before, why=why, failing_s=since_s) if why else Job(name, at_s)
        self._keep(replace(self.state, jobs=(*(j for j in self.state.jobs if j.name != name), after)))

    def note_cut(self, at_s: float) -> None:
        """The run before this one ended at at_s without a goodbye."""
        self._keep(replace(self.state, cuts_s=(*self.state.cuts_s, at_s)[-4 * CUTS_COUNT:]))

    def note_lost(self, at_s: float, lost_s: float) -> None:
        """So many seconds at the log's end, which had been written, are gone."""
        self._keep(replace(self.state, lost_s=at_s, lost=f"The last {max(lost_s, 60.0) / 60:.0f} minutes of the log, which had been "
                           "written, are gone."))

    def failing(self, name: str) -> bool:
        """Whether a job failed last time."""
        return any(j.why for j in self.state.jobs if j.name == name)

    def conditions(self, at_s: float, *, copies: bool) -> tuple[Condition, ...]:
        """What deserves an alert now. copies: whether a nightly copy is configured."""
        state = self.state
        jobs = {j.name: j for j in state.jobs}
        check, copy, thinning = (jobs.get(name, Job(name, at_s)) for name in (CHECK, COPY, THINNING))
        late = copies and at_s - copy.well_s > LATE_S
        cuts = [s for s in state.cuts_s if at_s - s < CUTS_S]
        lost = state.lost_s is not None and at_s - state.lost_s < LOST_S
        return (
            Condition(
                "log_check_failed", "vehicle", bool(check.why), "medium",
                "The nightly check of the log failed." if check.why else "",
                "The log may not be whole, or could not be read to its end.", "`ampledger doctor` looks it over now. A worn card "
                "shows like this: copy the log (`ampledger backup`) and change the card.", "It clears when a check goes well.",
                evidence=f"The reason: {check.why}."),
            Condition(
                "copy_failed", "vehicle", bool(copies and copy.why), "medium",
                "The nightly copy of the log failed." if copy.why else "",
                "The log goes on; the latest good copy grows old.", "Is the stick plugged in and mounted, with room, and may the user "
                "ampledger write it? `ampledger doctor` shows the copies.", "It clears when a copy is made and read back.",
                evidence=f"The reason: {copy.why}."),
            Condition(
                "copy_late", "vehicle", bool(late and not copy.why), "low",
                "The latest good copy of the log is too old." if late else "",
                "Should the card die now, so much would be lost.", "Does the board run at night, or long enough after a start? "
                "`ampledger backup` makes one now.", "It clears when a copy is made and read back.", on_delay_s=MADE_UP_S,
                evidence=f"It is {(at_s - copy.well_s) / DAY_S:.0f} days old."),
            Condition(
                "maintenance_failed", "vehicle", bool(thinning.why), "low",
                "Old rows of the log could not be thinned." if thinning.why else "",
                "The log grows until it works again; nothing is lost.", "The journal (`journalctl -u ampledger`).",
                "It clears when it works again.",
                evidence=f"The reason: {thinning.why}."),
            Condition(
                "log_tail_lost", "vehicle", lost, "medium", "The end of the log is gone." if lost else "",
                "The card said that it had written them, and had not; or an older log was put in its place.",
                "Once after a power cut: watch it. Again: a better card, and `backup_to` on another one.",
                "It clears after three days.", evidence=state.lost),
            Condition(
                "unclean_ends", "vehicle", len(cuts) >= CUTS_COUNT, "low",
                f"The board was cut off {len(cuts)} times within a week." if len(cuts) >= CUTS_COUNT else "",
                "Each cut may cost the minute that was being filled, and wears the card.",
                "The board's feed: does it sag when the engine starts, is a plug or fuse loose? A feed from the house battery, with its "
                "own "
                "fuse, holds.", "It clears when it is fewer than that within a week.", figures=(("cuts", float(len(cuts))),)))

    def _keep(self, state: SelfWatchState) -> None:
        if state != self.state:
            self.state = state
            self._remember(saving.to_text(state))
