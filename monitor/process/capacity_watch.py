"""The capacity test that the owner asked the daemon to follow: kept with the log over restarts, and its end told as an alert."""
import logging
from collections.abc import Callable

from monitor.battery.label import Vehicle
from monitor.findings import ChargeFindings, Condition
from monitor.sample import Minute
from monitor.store import saving
from monitor.store.requests import Request
from monitor.wear.watched_test import WatchedTest, conclude_test, follow_test

log = logging.getLogger("ampledger")

#: Its end is an alert for so long [s].
TOLD_S = 6 * 3600.0


class CapacityWatch:
    """Holds the latest test for the daemon. remember(text) keeps it with the log."""

    def __init__(self, text: str | None, remember: Callable[[str], None] = lambda _: None) -> None:
        self._remember = remember
        self._test: WatchedTest | None = None
        try:
            self._test = saving.from_text(WatchedTest, text) if text else None
        except ValueError as error:
            log.warning("the capacity test that was running cannot be read: %s", error)

    @property
    def test(self) -> WatchedTest | None:
        """The latest test, over or not; None where none was asked for."""
        return self._test

    @test.setter
    def test(self, test: WatchedTest | None) -> None:
        if test != self._test:
            self._test = test
            self._remember("" if test is None else saving.to_text(test))

    def live(self, minute: Minute, charge: ChargeFindings | None, vehicle: Vehicle, utc_offset_s: float) -> Request | None:
        """One minute further; what is to be counted where it ended in it.

        minute : its readings; charge : what is known of the charge, None where the minute could not be worked out
        vehicle : the batteries and the shunt's correction; utc_offset_s : what makes UTC of the log's time
        """
        test = self._test
        if test is None or test.over or charge is None:
            return None
        test, values = follow_test(test, minute, charge, vehicle), None
        if test.over:
            test, values = conclude_test(test, vehicle, utc_offset_s)
        self.test = test
        return None if values is None else Request("capacity_tested", dict(values), test.by)

    def conditions(self, at_s: float) -> tuple[Condition, ...]:
        """Word that it is over, for some hours. at_s is the log's time."""
        test = self._test
        told = test is not None and bool(test.over) and test.run.phase in ("ended", "stopped", "spoiled") and at_s - test.over_s < TOLD_S
        spoiled = told and test is not None and test.run.phase == "spoiled"
        return (Condition(
            "capacity_test_over", "house", told, "high",
            "" if not told else "The capacity test is spoiled." if spoiled else "Capacity test over: switch the loads off and charge.",
            f"It ended because {test.over}. " + (f"It gave {test.found}." if test.found else "It gave no result.")
            if told and test is not None else "",
            "Charge the house battery full now: a lead-acid battery that stands empty is damaged within days.",
            "It clears after six hours."),)
