"""Short lives for engine and isolator alone: what they are taken for, when, and the path's resistance, with each fault of the join.

Random vehicles on a circuit of its own, some days each; engines whose alternator sags or is dead, second by second; a simulated camper
with a wire from the ignition and a joint that grows hot; drives seen by readings far apart, with holes.
"""
import os
import pickle
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

#: Where journeys are kept for the other processes of one run, which take longer to make than to judge.
KEPT = "BENCH_OUTINGS"
HOUR_S, DAY_S = 3600.0, 86400.0

#: What a scene is made of: the name of a life, its vehicle, its samples.
Lives = Iterable[tuple[str, Any, Iterable[Any]]]

KINDS = (("engine", "plain"), ("voltage", "plain"), ("dual", "plain"), ("dc_dc", "plain"), ("engine", "smart"), ("dc_dc", "smart"))
#: One life after the other, of which the first of each kind of vehicle is sound: fault and its amount.
FAULTS = ((("", 0.0), ("stuck_closed", 0.0), ("path", 2.2)), (("", 0.0), ("stuck_open", 0.0), ("intermittent", 300.0)))
#: Phases of an engine [s], each after the other, on a starter battery by itself.
PHASES = {
    "dead": ((2400, "parked"), (1, "crank"), (2400, "dead"), (1800, "parked")),
    "dies": ((1800, "parked"), (1, "crank"), (2400, "run"), (4200, "dead")),
    "mended": ((1800, "parked"), (1, "crank"), (1200, "dead"), (1200, "parked"), (1, "crank"), (1200, "run"), (1200, "parked")),
    "driven": ((2400, "parked"), (1, "crank"), (1800, "run"), (3600, "parked")),
    "tries": ((2400, "parked"), (5, "crank"), (60, "key"), (5, "crank"), (2400, "lamps")),
    "tried twice": ((2400, "parked"), (5, "crank"), (60, "key"), (5, "crank"), (1200, "run"), (1800, "parked")),
    "key": ((2400, "parked"), (5, "crank"), (360, "key"), (3600, "parked")),
    "lamps": ((2400, "parked"), (1, "crank"), (1800, "run"), (360, "lamps"), (3600, "parked")),
    "errands": ((2400, "parked"), (1, "crank"), (240, "run"), (600, "parked"), (1, "crank"), (240, "run"), (1800, "parked")),
}


def told(name: str, lives: Callable[[], Lives]) -> Iterator[tuple[str, str]]:
    """Each turn of engine, isolator and path, alerts with their words: section and line."""
    from monitor.detection.join import isolator
    from tests.golden import text

    for life, vehicle, lived in _gathered(name, lives):
        state, was = isolator.begin(), ""
        for minute in lived:
            state = isolator.update(state, minute, vehicle)
            found = isolator.findings(state, vehicle)
            said = "; ".join(f"{c.kind} {c.seen} {c.evidence}" for c in isolator.conditions(state, vehicle) if c.active)
            events = " ".join(event.kind for event in state.news)
            now = f"{found.engine} {found.isolator} {found.build} {text.answer(found.path_resistance_ohm)} {said}{events}"
            if now != was:
                yield name, f"{life}, {minute.end_s:.0f} s: {now}"
            was = now
        yield name, f"{life} at the end: {found.because}"


def _gathered(name: str, lives: Callable[[], Lives]) -> list[tuple[str, Any, list[Any]]]:
    """The lives with their samples by minutes, made anew or by another process of this run."""
    from monitor.sampling.gather import minutes

    file = Path(os.environ[KEPT], f"{name.replace(' ', '-')}.pickle") if KEPT in os.environ else None
    if file is not None and file.exists():
        kept: list[tuple[str, Any, list[Any]]] = pickle.loads(file.read_bytes())
        return kept
    made = [(life, vehicle, list(minutes(samples))) for life, vehicle, samples in lives()]
    if file is not None:
        file.write_bytes(pickle.dumps(made))
    return made


def _outings(join: str, alternator: str, faults: tuple[tuple[str, float], ...], days: float = 3.0, spacing_s: float | None = None,
             is_told: bool = False) -> Lives:
    """Random vehicles with this join and alternator, one fault each."""
    from tests.benchmarks import outings

    for number, (kind, amount) in enumerate(faults):
        rng = np.random.default_rng((51, number))
        rig = replace(outings.rig(rng, join, alternator, spacing_s or (30.0 if number % 2 else 120.0)), told=is_told)
        fault = outings.Fault(kind, 0.4 * days * DAY_S, amount) if kind else None
        yield kind or "sound", rig.vehicle, outings.outing(rng, rig, days, fault=fault).samples


def _crowd(first: int, count: int) -> Lives:
    """Vehicles drawn at random, two or four days each: join, alternator, what readings lie apart, fault, and whether its owner said."""
    from tests.benchmarks import outings

    for number in range(first, first + count):
        rng = np.random.default_rng((52, number))
        join, alternator = KINDS[number % len(KINDS)]
        rig = replace(outings.rig(rng, join, alternator), told=number % 3 == 0)
        days = 4.0 if rig.spacing_s > 60.0 else 2.0
        kind = str(rng.choice(["", "stuck_closed", "stuck_open", "intermittent", "path", "drain"]))
        amount = {"intermittent": 300.0, "path": rng.uniform(1.5, 4.0), "drain": rng.uniform(0.2, 3.0)}.get(kind, 0.0)
        fault = outings.Fault(kind, rng.uniform(0.2, 0.6) * days * DAY_S, amount) if kind else None
        yield f"{number} {join} {alternator} {kind or 'sound'}", rig.vehicle, outings.outing(rng, rig, days, fault=fault).samples


def _dies_joined() -> Lives:
    """Alternators that die an hour into a drive, the batteries joined by the engine's own relay or by one that senses voltage."""
    from tests.benchmarks import outings

    for number, join in enumerate(("engine", "engine", "voltage", "dual")):
        rng = np.random.default_rng((53, number))
        rig = outings.rig(rng, join, "plain", 10.0)
        fault = outings.Fault("alternator", 3.0 * HOUR_S)
        yield f"{join} {number}", rig.vehicle, outings.outing(rng, rig, 0.4, ((2.0 * HOUR_S, 5.5 * HOUR_S),), fault).samples


def _wired_otherwise() -> Lives:
    """The same vehicles without a shunt; with a starter wire that comes off for some hours; and switched on at any hour."""
    for k, (join, alternator) in enumerate(KINDS):
        for life, vehicle, samples in _outings(join, alternator, FAULTS[k % 2][:2], 2.0):
            series = list(samples)
            yield f"{join} {alternator} {life}, no shunt", vehicle, [replace(one, house_current_a=None) for one in series]
            yield f"{join} {alternator} {life}, wire off", vehicle, [
                replace(one, starter_voltage_v=None) if 18.0 < one.at_s / HOUR_S % 24.0 < 22.0 else one for one in series]
            for hour in (9.0, 11.0, 13.0, 15.0, 17.0):
                yield f"{join} {alternator} {life}, from {hour} h", vehicle, [
                    one for one in series if hour < one.at_s / HOUR_S < hour + 6.0]


def _uncharged() -> Lives:
    """Engines whose alternator is dead or dies, and what may be taken for that."""
    from tests.monitor.test_uncharged_run import VEHICLE, life

    for number, (name, phases) in enumerate(PHASES.items()):
        for charge in (0.9, 0.6):
            yield f"{name} at {charge}", VEHICLE, life(3 + number, phases, charge)


def _sags() -> Lives:
    """Drives whose alternator sags under load, house voltage seen or not."""
    from monitor.sample import Sample
    from tests.monitor.test_held_up import VEHICLE, drive

    for seed in range(6):
        house_v = 12.7 if seed % 2 else None
        yield f"drive {seed}", VEHICLE, [Sample(t, house_v, None if house_v is None else -1.0, v) for t, v in drive(seed)[0]]


def _camper() -> Lives:
    """A simulated camper with a wire from the ignition, then with a joint that grows hot over ten days of drives."""
    from drivers.vehicle import Ordered
    from tests.golden import lives as golden

    daily = golden._drives(*[(day, hour, 40) for day in range(10) for hour in (9.0, 15.0)])
    wired = replace(golden.CAMPER, seed=511, days=3.0, drives=daily[:6], sensor=replace(golden.CAMPER.sensor, with_ignition=True))
    hot = replace(golden.CAMPER, seed=512, days=10.0, drives=daily, faults=(Ordered("path_resistance", 3.0 * DAY_S, 9.0 * DAY_S, 0.08),))
    for name, plan in (("ignition", wired), ("hot joint", hot)):
        yield name, golden._owner(plan), golden._journey(plan, 60.0)


def _far_apart() -> Lives:
    """Drives by readings two minutes apart, with an hour without any; sun on the house; one stuck relay; a path that doubles."""
    from math import pi, sin

    from tests.monitor.test_isolator import DRIVES, VEHICLE, journey

    often = [(h * HOUR_S, (h + 0.7) * HOUR_S) for h in range(2, 70, 3)]
    yield "holes", VEHICLE, journey(DRIVES, 30, 120.0, dropped=((2.8 * HOUR_S, 3.8 * HOUR_S), (8.5 * HOUR_S, 8.7 * HOUR_S)))
    yield "sun", VEHICLE, journey(DRIVES, 30, 120.0, sun=lambda at_s: 9.0 * max(0.0, sin(pi * (at_s / HOUR_S % 24.0 - 6) / 12)))
    yield "stuck", VEHICLE, journey(DRIVES, 40, 120.0, stuck="closed", stuck_s=9.0 * HOUR_S)
    yield "doubles", VEHICLE, journey(often, 72, 60.0, path_ohm=lambda at_s: 0.01 if at_s < 36 * HOUR_S else 0.022)
    yield "lithium", VEHICLE, journey(DRIVES, 24, 60.0, dc_dc=True, house_rest_v=13.2)


#: Scene -> what makes its lives.
LIVES: dict[str, Callable[[], Lives]] = {
    f"{join}-{alternator}": partial(_outings, join, alternator, FAULTS[k % 2]) for k, (join, alternator) in enumerate(KINDS)} | {
    "uncharged": _uncharged, "sags": _sags, "dies joined": _dies_joined, "wired otherwise": _wired_otherwise, "camper": _camper,
    "far apart": _far_apart,
    "turned down": partial(_outings, "engine", "smart", (("", 0.0), ("stuck_open", 0.0)), 2.0, 10.0),
    "said": partial(_outings, "voltage", "plain", (("", 0.0), ("stuck_closed", 0.0)), is_told=True),
    "long stuck": partial(_outings, "engine", "plain", (("stuck_open", 0.0), ("stuck_closed", 0.0)), 9.0, 120.0),
} | {f"crowd {k}": partial(_crowd, 12 * k, 12) for k in range(5)}
SCENES = {name: partial(told, name, lives) for name, lives in LIVES.items()}
