"""Days of random vehicles on a circuit of its own, sound and with each fault of the join: what engine and isolator are taken for, when."""
import os
import pickle
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

#: Where journeys are kept for the other processes of one run, which take longer to make than to judge.
KEPT = "BENCH_OUTINGS"

KINDS = (("engine", "plain"), ("voltage", "plain"), ("dual", "plain"), ("dc_dc", "plain"), ("engine", "smart"), ("dc_dc", "smart"))
#: One life after the other, of which the first of each kind of vehicle is sound: fault and its amount.
FAULTS = ((("", 0.0), ("stuck_closed", 0.0), ("path", 2.2)), (("", 0.0), ("stuck_open", 0.0), ("intermittent", 300.0)))


def outings(join: str, alternator: str) -> Iterator[tuple[str, str]]:
    """Each turn of engine and isolator, alerts with their words, and the path's resistance each day: section and line."""
    from monitor.detection.join import isolator
    from monitor.sampling.gather import minutes
    from tests.golden import text

    name = f"{join}-{alternator}"
    for number, (kind, amount) in enumerate(FAULTS[KINDS.index((join, alternator)) % 2]):
        vehicle, samples = _outing(join, alternator, number, kind, amount)
        state, was, day = isolator.begin(), "", 0
        for minute in minutes(samples):
            state = isolator.update(state, minute, vehicle)
            found = isolator.findings(state, vehicle)
            said = "; ".join(f"{c.kind} {c.seen} {c.evidence}" for c in isolator.conditions(state, vehicle) if c.active)
            now = f"{found.engine} {found.isolator} {found.build} {said}"
            if now != was or minute.end_s // 86400.0 > day:
                yield name, f"{kind or 'sound'}, {minute.end_s:.0f} s: {now} {text.answer(found.path_resistance_ohm)}"
            was, day = now, minute.end_s // 86400.0
        yield name, f"{kind or 'sound'} at the end: {found.because} {text.answer(found.path_resistance_ohm)}"


def _outing(join: str, alternator: str, number: int, kind: str, amount: float) -> Any:
    """The vehicle and its samples, made anew or by another process of this run."""
    import numpy as np

    from tests.benchmarks import outings

    file = Path(os.environ[KEPT], f"{join}-{alternator}-{number}.pickle") if KEPT in os.environ else None
    if file is not None and file.exists():
        return pickle.loads(file.read_bytes())
    rng = np.random.default_rng((51, number))
    rig = outings.rig(rng, join, alternator, 30.0 if number % 2 else 120.0)
    made = rig.vehicle, outings.outing(rng, rig, 3.0, fault=outings.Fault(kind, 1.2 * 86400.0, amount) if kind else None).samples
    if file is not None:
        file.write_bytes(pickle.dumps(made))
    return made


SCENES = {f"{join}-{alternator}": partial(outings, join, alternator) for join, alternator in KINDS}
