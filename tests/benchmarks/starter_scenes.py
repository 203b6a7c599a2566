"""Starts and parkings, good and bad, with what the starter battery's tracker makes of each: by itself, without the rest of a vehicle."""
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from typing import Any


def _words(answer) -> str:
    from tests.golden import text

    return text.answer(answer)


def traces() -> Iterator[tuple[str, str]]:
    """Verdicts on single starts: battery, length, readings a second, what came after, cold."""
    from monitor.detection.starter import crank
    from tests.monitor.test_crank import trace

    after = ((True, True, 8.0), (True, False, 5.0), (False, False, 8.0), (True, True, 0.9), (False, False, 3.5))
    rates_hz = (18.0, 22.0, 50.0, 100.0)
    for battery_ohm, crank_s, rate_hz in product((0.0003, 0.005, 0.0095, 0.019), (0.1, 0.22, 1.0, 2.2, 3.6, 4.6), rates_hz):
        for starts, charging, after_s in after:
            warm_c = (None, 20.0, 4.0, -15.0)[int(crank_s * 10) % 4]
            found = crank.judge(trace(battery_ohm, rest_v=12.4, crank_s=crank_s, starts=starts, rate_hz=rate_hz, after_s=after_s,
                                      charging=charging), warm_c)
            yield "traces", (f"{battery_ohm} {crank_s} {rate_hz} {starts} {charging} {after_s}: {found.verdict} {found.because} "
                             f"{found.recovered_s} {found.drop_frac} {found.severity}")


def throttled() -> Iterator[tuple[str, str]]:
    """Starts behind a glow plug's load, and what the voltage comes to after them, from below what it was to a charging alternator's."""
    from monitor.detection.starter import crank
    from tests.monitor.test_crank import trace

    for k, crank_s, battery_ohm in product(range(30), (1.0, 3.0), (0.005, 0.012)):
        readings = trace(battery_ohm, crank_s=crank_s, starts=False, rest_v=12.3, seed=k)
        begun_s = next(t for t, v in readings if v < 11.8)
        after = [(t, v + (0.05 * k - 0.2 if t > begun_s + crank_s + 0.1 else 0.0)) for t, v in readings]
        found = crank.judge(after, 10.0)
        yield "throttled", f"{0.05 * k - 0.2:.2f} V more after {crank_s} s: {found.verdict} {found.because} {found.recovered_s}"
        falling = [(t, v + (1.5 if t > begun_s + crank_s + 0.1 else 0.0) - (1.7 if t > readings[-1][0] - 0.04 * k else 0.0))
                   for t, v in readings]
        found = crank.judge(falling, 10.0)
        yield "throttled", f"down again for {0.04 * k:.2f} s: {found.verdict} {found.because}"
        sagging = [(t, v - 0.04 * k * min(max(t - begun_s + 1.5, 0.0), 1.0)) for t, v in readings]
        found = crank.judge(sagging, 10.0)
        yield "throttled", f"{0.04 * k:.2f} V of glow plugs: {found.verdict} {found.because} {found.before_v} {found.drop_frac}"
        found = crank.judge([one for one in readings if begun_s - 0.02 * k < one[0] < begun_s + 0.03 * k], 10.0)
        yield "throttled", f"only {k} readings: {found.verdict} {found.because} {found.before_v} {found.drop_frac}"


def months() -> Iterator[tuple[str, str]]:
    """Thirty starts of a battery that ages, in warm and cold weeks and at one temperature, and what follows on one that failed."""
    from monitor.detection.starter import crank, starter
    from monitor.sample import Sample
    from monitor.sampling.gather import minutes
    from tests.monitor.test_crank import OFF, RUNNING, follow, lived, trace
    from tests.monitor.test_starter import VEHICLE

    for ohms in ([0.005] * 20 + [0.0052, 0.0066, 0.007, 0.0075, 0.008, 0.0085], [0.005] * 23, [0.0002] * 26):
        for k in range(17, len(ohms) + 1):
            starts = follow(ohms[:k])
            said = [c.seen for c in starter.conditions(replace(starter.begin(), starts=starts), VEHICLE) if c.active]
            yield "months", f"{k} starts: {crank.trend(starts)} {said}"
    for late_s in (None, 100, 170, 200, 500, 700, 950, 1250):
        held, told = lived(trace(0.015, crank_s=2.2, rest_v=12.4, charging=False, after_s=5.0), late_s and 60 + late_s, until_s=1400)
        yield "months", f"runs after {late_s} s: {told} {crank.as_findings(held)}"
    dips_s = ((100,), (100, 125), (100, 135), (100, 900), (100, 1000, 1900), (100, 300, 500, 700, 900, 1100))
    for dip_v, at, every_s in product((0.4, 0.6, 1.2, 1.8, 2.3), dips_s, (1, 7, 9, 12)):
        samples = [Sample(float(k), 12.5, -1.0, 12.7 - dip_v * (k in at or k - 1 in at)) for k in range(1, 2000, every_s)]
        held, last = crank.CrankState(), ""
        for minute in minutes(samples):
            held = crank.update(held, minute, RUNNING if dip_v in (1.2, 2.3) and minute.end_s > 101 else OFF, 20.0)
            now = f"{_words(crank.as_findings(held)[0])} {len(held.dips)}"
            if now != last:
                yield "months", f"dips of {dip_v} V at {at} s, each {every_s} s: {minute.end_s} {now}"
            last = now


def parked() -> Iterator[tuple[str, str]]:
    """Vehicles that stand for days, one parking after the other: sound, used, drained by little and by much, with and without a
    thermometer."""
    import numpy as np

    from monitor.detection.starter import starter
    from monitor.findings import JoinFindings
    from monitor.sample import Minute
    from tests.benchmarks import parkings
    from tests.benchmarks.bench_starter import vehicle

    rng, quarter_s = np.random.default_rng(41), 900.0
    for number in range(6):
        plate, held, at_s, was = parkings.build(rng, old=number % 3 == 2), starter.begin(), 0.0, ""
        thermometer, season, car = ("house", "none", "air")[number % 3], ("summer", "frost", "heat", "spring")[number % 4], vehicle(plate)
        for days, drain_a in ((2.5, 0.0), (2.0, 0.0), (3.0, 0.0), (2.2, 0.0), (3.5, (0.06, 0.12, 0.3, 0.6, 1.5, 3.0)[number]), (3.0, 0.0)):
            parked = parkings.parking(rng, plate, days, season, drain_a, 30.0 if number % 2 else 4.0, thermometer, busy=number % 2 == 1)
            for k in range(-2, len(parked.hours)):
                warm_c = None if k < 0 or parked.thermometer_c is None else float(parked.thermometer_c[k])
                held = starter.update(held, Minute(
                    at_s, at_s + quarter_s, (), starter_voltage_v=14.2 if k < 0 else float(parked.voltage_v[k]), house_voltage_v=12.6,
                    ambient_temperature_c=warm_c), car, JoinFindings("closed", "running") if k < 0 else JoinFindings("open", "off"))
                at_s += quarter_s
                now = "; ".join(c.seen for c in starter.conditions(held, car) if c.active)
                if now != was or k % 48 == 47:
                    found = starter.findings(held, car)
                    yield "parked", (f"vehicle {number}, day {at_s / 86400:.2f}: {now} {_words(found.charge_frac)} {_words(found.drain_a)} "
                                     f"{found.doubtful_after_s}")
                was = now


def _stand(volts_at: Callable[[float], float], hours: float, join: Any = None, temperature_c: float | None = 15.0, house_v: float = 12.6,
           car: Any = None, per_h: int = 12, silent_h: tuple[float, float] = (0.0, 0.0)) -> tuple[Any, list[tuple[float, str, str]]]:
    """The state after so many hours of a battery that stands alone, and what the alert rules said meanwhile; silent_h: from when on,
    and for how long, nothing is read.
    """
    from monitor.alerts import rules
    from monitor.detection.starter import starter
    from monitor.sample import Sample
    from monitor.sampling.gather import minutes
    from tests.monitor.test_starter import OPEN, VEHICLE

    held, alerts, said = starter.begin(), rules.begin(), []
    for minute in minutes(Sample(3600.0 / per_h * k, house_v, -0.5, volts_at(k / per_h), temperature_c)
                          for k in range(1, int(hours * per_h) + 1) if not 0.0 <= k / per_h - silent_h[0] < silent_h[1]):
        held = starter.update(held, minute, car or VEHICLE, join or OPEN)
        alerts = rules.update(alerts, starter.conditions(held, car or VEHICLE), minute.end_s)
        said += [(round(change.at_s / 3600.0, 3), change.what, change.alert.kind) for change in alerts.news]
    return held, said


def stands() -> Iterator[tuple[str, str]]:
    """Voltages of one battery over hours: loads that go on and off, cells that fail, charge unseen, flat and frozen batteries."""
    from monitor.battery.label import Battery, Vehicle
    from monitor.detection.starter import starter
    from tests.monitor.test_starter import RUNNING, VEHICLE, settled

    def fallen(volts: float, from_h: float, to_h: float, back: float = 0.0):
        return lambda h: settled(h) - volts * min(max((h - from_h) / (to_h - from_h), 0.0), 1.0) + (back if h > to_h else 0.0)

    cases = {
        "radio": (lambda h: settled(h) - (0.12 if 50 < h < 51.2 else 0.05 if h > 51.2 else 0), 80, {}),
        "lamp for a night": (fallen(0.3, 48, 56, 0.02), 80, {}), "lamp at once": (fallen(0.4, 5, 13), 30, {}),
        "lamp after 11 h": (fallen(0.16, 11, 20), 30, {}), "slow lamp": (fallen(0.12, 30, 60), 90, {}),
        "lamp from the start": (fallen(0.2, 0.5, 30), 40, {}), "fridge on it": (fallen(0.9, 24, 32), 36, {}),
        "little more": (fallen(0.045, 24, 64), 90, {}),
        "lamp by spells": (lambda h: settled(h) - 0.05 * ((h - 30) // 1.2 if h > 30 else 0), 40, {}),
        "cell": (lambda h: settled(h) - (1.9 if h > 40 else 0), 41, {}),
        "half a cell": (lambda h: settled(h) - (1.15 if h > 40 else 0), 41, {}),
        "brief": (lambda h: settled(h) - (1.5 if 40 < h < 40.06 else 0), 41, {}),
        "charged unseen": (lambda h: settled(h) if h < 40 else settled(h) + 0.045, 50, {}),
        "charged slowly": (lambda h: settled(h) + 0.012 * max(h - 40, 0), 50, {}),
        "flat": (lambda h: 11.85, 4, {}), "flat beside lithium": (lambda h: 11.85, 4, {
            "car": Vehicle(Battery("house", "lfp", 100), Battery("starter", "flooded", 70)), "house_v": 13.0}),
        "flat beside empty lithium": (lambda h: 11.85, 4, {
            "car": Vehicle(Battery("house", "lfp", 100), Battery("starter", "flooded", 70)), "house_v": 12.7}),
        "frozen": (lambda h: 12.0, 4, {"temperature_c": -16}),
        "recovers": (lambda h: 12.65 - 0.95 * 2 ** (-h / 1.2), 12, {"temperature_c": -17}),
        "comes back": (lambda h: 12.0 + 0.1 * min(h / 6, 1), 9, {"temperature_c": -16}),
        "too high": (lambda h: 15.9 if 0.2 < h < 0.22 or h > 0.5 else 14.2, 1, {"join": RUNNING, "per_h": 360}),
        "doubtful": (lambda h: 12.24 - 0.03 * h / 24, 30, {}), "very warm": (lambda h: settled(h) - 0.0008 * h, 60, {"temperature_c": 52}),
        "very cold": (lambda h: settled(h) - 0.0002 * h, 60, {"temperature_c": -28}),
        "unknown warmth": (settled, 60, {"temperature_c": None}),
    }
    for k in range(1, 25, 2):
        cases |= {
            f"used {4 * k} mV at once": (fallen(0.004 * k, 30, 30.1), 40, {}),
            f"falls {4 * k} mV in 2.5 h": (fallen(0.004 * k, 30, 32.5), 34, {}),
            f"falls {8 * k} mV early": (fallen(0.008 * k, 5, 9), 12, {}),
            f"falls {2 * k} mV a day": (fallen(0.002 * k, 24, 48, -0.002 * k), 84, {"temperature_c": None if k % 2 else 15.0}),
            f"recovers by {3 * k} mV an hour": (lambda h, k=k: 11.6 + 0.003 * k * h, 6, {"temperature_c": -17}),
            f"flat after {10 * k} min": (lambda h, k=k: 12.0 if h < k / 6 else 12.7, 5, {"temperature_c": -17}),
            f"charged in {k} quarters": (lambda h, k=k: settled(h) + 0.06 * min(max((h - 30) / (k / 4), 0.0), 1.0), 40, {}),
            f"charged by {9 * k} mV as it falls": (lambda h, k=k: 12.9 - 0.02 * h + (0.009 * k if h > 20 else 0.0), 24, {}),
            f"falls from {0.5 * k} h on behind a silence": (
                fallen(0.2, 0.5 * k, 0.5 * k + 10), 0.5 * k + 10, {"silent_h": (0.5 * k + 1, 0.2 * k)}),
            f"doubtful in {k} hours": (lambda h, k=k: 12.21 + 0.3 * max(1 - h / 24, 0.0) + 0.002 * k - 0.02 * max(h - 24, 0) / 24, 40, {}),
        }
    for name, (volts_at, hours, more) in cases.items():
        held, raised = _stand(volts_at, hours, **more)
        car = more.get("car", VEHICLE)
        found = starter.findings(held, car)
        yield "stands", (f"{name}: {raised} {_words(found.charge_frac)} {_words(found.rest_voltage_v)} {_words(found.drain_a)} "
                         f"{found.doubtful_after_s}")
        yield "stands", f"    {[c.seen + c.evidence for c in starter.conditions(held, car) if c.active]}"
    for hours in (0.9, 1.3, 1.6, 2.0, 2.3, 2.8, 3.3, 3.8):
        held, _ = _stand(settled, hours)
        yield "stands", f"{hours} h: {_words(starter.findings(held, VEHICLE).rest_voltage_v)}"


SCENES = {"traces": traces, "throttled": throttled, "months": months, "parked": parked, "stands": stands}
