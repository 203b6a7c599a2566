"""A capacity test that somebody asked for: from the minute it may begin, minute by minute, to its result."""
from dataclasses import dataclass, replace

from monitor.battery.label import Vehicle
from monitor.findings import ChargeFindings, Estimate
from monitor.parameters import table
from monitor.sample import Minute
from monitor.wear import capacity_test
from monitor.wear.capacity_test import CapacityTestRun

P = table("wear", "watched_test")
LEAST_FULL_FRAC, WAITS_S = P.number("least_full_frac"), 86400.0 * P.number("waits_days")
#: Where the charge is not known when it begins, but a full charge was seen.
_LIKELY, _LOW, _HIGH = P.numbers("seen_full")
SEEN_FULL = Estimate(_LIKELY, _LOW, _HIGH, "full charge seen")
#: End voltages that can be asked for [V].
LOWEST_STOP_V, HIGHEST_STOP_V = P.numbers("stops_v")


@dataclass(frozen=True, slots=True)
class WatchedTest:
    """A test that was asked for, and how far it is. at_s on the log's own line of time.

    wrong : what is still in the way of beginning; over : how it ended, "" while it waits or runs
    found : what came of it, "" where nothing did
    """

    by: str
    asked_s: float
    stop_v: float
    stop_frac: float | None
    run: CapacityTestRun = CapacityTestRun()
    full: Estimate | None = None
    wrong: tuple[str, ...] = ()
    over: str = ""
    over_s: float = 0.0
    found: str = ""

    @property
    def at_work(self) -> bool:
        """Whether it waits or runs."""
        return not self.over


def begin_test(vehicle: Vehicle, at_s: float, by: str, stop_v: float | None, to_reserve: bool) -> WatchedTest:
    """A test asked for now.

    vehicle : whose house battery; at_s : the log's time; by : who asks
    stop_v : end of the discharge [V], None for the usual one of its kind; to_reserve : stop when the reserve is reached

    Raises
    ------
    ValueError : no such end voltage
    """
    house = vehicle.house
    if stop_v is not None and not LOWEST_STOP_V <= stop_v <= HIGHEST_STOP_V:
        raise ValueError(f"{stop_v:g} V is no end of a test; from {LOWEST_STOP_V:g} to {HIGHEST_STOP_V:g} V")
    return WatchedTest(by, at_s, capacity_test.END_V[house.lead_acid] if stop_v is None else stop_v,
                       1 - house.reserve_soc_frac if to_reserve else None)


def follow_test(test: WatchedTest, minute: Minute, charge: ChargeFindings, vehicle: Vehicle) -> WatchedTest:
    """The test one minute further.

    minute : its readings; charge : what is known of the charge; vehicle : the batteries and the shunt's correction
    test : what has been seen of it so far
    """
    if test.over:
        return test
    frac = charge.charge_frac if isinstance(charge.charge_frac, Estimate) else None
    run = test.run
    for sample in minute.samples:
        before = run.phase
        run = capacity_test.add(run, sample, vehicle.house, vehicle.current_sensor, test.stop_v, test.stop_frac)
        if before == "waiting" and run.phase == "running":
            test = replace(test, full=frac or SEEN_FULL)
    if run.phase == "running" and test.full is not None and test.full.value < LEAST_FULL_FRAC:
        run = CapacityTestRun()
    if run.phase == "waiting":
        warm_c = minute.samples[-1].house_temperature_c if minute.samples else None
        test = replace(test, run=run, full=None, wrong=tuple(
            capacity_test.not_ready(frac, charge.anchor, charge.charging_stage, warm_c)))
        if minute.end_s - test.asked_s > WAITS_S:
            return replace(test, over="it did not begin within two weeks", over_s=minute.end_s)
        return test
    if run.phase == "spoiled" and run.drawn_ah < capacity_test.RESTART_FRAC * vehicle.house.rated_capacity_ah:
        run = CapacityTestRun()
    over = "" if run.phase in ("waiting", "running") else run.why
    return replace(test, run=run, wrong=(), over=over, over_s=minute.end_s if over else 0.0)


def conclude_test(test: WatchedTest, vehicle: Vehicle, utc_offset_s: float) -> tuple[WatchedTest, dict[str, float] | None]:
    """What came of a test that is over: in words, and as what the daemon is asked to count from now on (None: nothing).

    vehicle : whose battery; utc_offset_s : what makes UTC of the log's time
    test : what has been seen of it
    """
    if test.run.phase not in ("ended", "stopped"):
        return test, None
    try:
        result = capacity_test.result(test.run, vehicle.house, vehicle.current_sensor, test.full or SEEN_FULL, test.stop_v)
    except ValueError as error:
        return replace(test, found=f"{error}"), None
    found = result.capacity_ah
    words = (f"{found.value:.0f} Ah ({found.low:.0f} to {found.high:.0f}) at its rated rate and 25 °C" if result.reached_end
             else f"at least {found.low:.0f} Ah at its rated rate and 25 °C; it was not tested deeper")
    return replace(test, found=words), {"capacity_ah": found.value, "low_ah": found.low, "high_ah": found.high,
                                        "reached_end": int(result.reached_end), "ended_utc_s": test.over_s + utc_offset_s,
                                        "sigma_ln": result.sigma_ln}


def describe_progress(test: WatchedTest | None) -> str:
    """Where a test stands, in a sentence; "" where none waits or runs."""
    if test is None or test.over:
        return ""
    if test.run.phase == "waiting":
        return "Capacity test: it cannot begin yet." if test.wrong else "Capacity test: switch the loads on, it may begin."
    volts = "" if test.run.voltage_v is None else f", {test.run.voltage_v:.2f} V"
    return f"Capacity test running for {test.run.hours:.1f} h: {test.run.drawn_ah:.1f} Ah drawn{volts}."
