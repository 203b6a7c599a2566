"""Today's trackers over the stored minutes of many vehicles, in processes here or on a Dask cluster: is a later version's judgement better?

Results go back into the collection beside what each board concluded itself.
"""
import json
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine, insert, select

from monitor import pipeline
from monitor.battery.label import Vehicle
from monitor.findings import Answer, Estimate
from monitor.fleet import database, keys
from monitor.fleet.publish_thread import own_version
from monitor.fleet.tables import replays, standing, vehicles
from monitor.fleet.view import CollectedView
from monitor.process import relive
from monitor.store import saving


class NotJudged(Exception):
    """It could not be done; one sentence."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What this version concludes of one vehicle's stored minutes. Answers are (value, low, high), None where not known."""

    vehicle: str
    minutes: int
    charge_frac: tuple[float, float, float] | None = None
    capacity_frac: tuple[float, float, float] | None = None
    resistance_ohm: tuple[float, float, float] | None = None
    verdict: str = ""
    why_not: str = ""


def judge_vehicle(address: str, vehicle_id: int, line: int, name: str) -> Judged:
    """Lives through one vehicle's stored minutes; runs in a process of its own, or elsewhere.

    address: of the collection's database; vehicle_id, line: whose rows; name: of the vehicle.
    """
    engine = database.open_engine(address, pool_size=1)
    try:
        with database.reading(engine) as connection:
            return _judge(CollectedView(connection, vehicle_id, line), name)
    finally:
        engine.dispose()


def _judge(view: CollectedView, name: str) -> Judged:
    word, (_, last) = view.meta("vehicle"), view.ends()
    if word is None or last is None:
        return Judged(name, 0, why_not="nothing has come from its board yet")
    try:
        vehicle = saving.from_text(Vehicle, word)
    except ValueError as error:
        return Judged(name, 0, why_not=f"its label was written by another version: {error}")
    states, parts, count, latest = pipeline.begin(vehicle), pipeline.with_dependencies(pipeline.ALL - {"forecast"}), 0, None
    for told, minutes in relive.told_and_runs(view, last):
        states = pipeline.relive(states, () if latest is None else (latest,), vehicle, parts)
        for one in told:
            states = relive.tell(states, one, vehicle)
        states = pipeline.relive(states, minutes[:-1], vehicle, parts)
        latest, count = minutes[-1], count + len(minutes)
    if latest is None:
        return Judged(name, 0, why_not="it has no minutes")
    _, found = pipeline.step(states, latest, vehicle)  # what is concluded is asked once, at the end
    return Judged(name, count, _three(found.charge.charge_frac), _three(found.health.capacity_frac), _three(found.charge.resistance_ohm),
                  found.health.verdict)


def _three(answer: Answer) -> tuple[float, float, float] | None:
    return (answer.value, answer.low, answer.high) if isinstance(answer, Estimate) else None


def judge_fleet(engine: Engine, names: Iterable[str], run: str | None, now_utc_s: float, *, processes: int | None = None,
                dask: str | None = None, tell: Callable[[str], None] = lambda _: None) -> list[str]:
    """Judges vehicles anew, keeps the results, and returns a line for each.

    Parameters
    ----------
    engine : the collection
    names : of the vehicles; none: all
    run : what the results are kept under
    now_utc_s : UTC [s]
    processes : at once, None: as many as there are cores
    dask : address of a scheduler to use instead
    tell : is given a line after each vehicle

    Raises
    ------
    NotJudged : the scheduler cannot be used, or there is such a run
    monitor.fleet.keys.NoVehicle : one of the names is none
    """
    run = run or f"{own_version()} {datetime.fromtimestamp(now_utc_s, UTC):%Y-%m-%d %H:%M}"
    with database.reading(engine) as connection:
        wanted = [keys.find(connection, name) for name in names] or list(
            connection.execute(select(vehicles).order_by(vehicles.c.name)).fetchall())
        before = {row.vehicle_id: row for row in connection.execute(select(standing))}
        if connection.execute(select(replays.c.run).where(replays.c.run == run).limit(1)).fetchone():
            raise NotJudged(f"there is a run called {run!r} already; give another name with --run")
    address = engine.url.render_as_string(hide_password=False)
    tasks = [(address, row.id, row.line, row.name) for row in wanted]
    ids = {row.name: row.id for row in wanted}
    lines = [f"{'vehicle':<20} {'minutes':>8}  {'capacity now':<20} {'as it was judged':<20} verdict now / before"]
    for judged in _results(tasks, processes, dask):
        with engine.begin() as connection:
            connection.execute(insert(replays).values(run=run, vehicle_id=ids[judged.vehicle], made_utc_s=now_utc_s, version=own_version(),
                                                      body=json.dumps({k: getattr(judged, k) for k in Judged.__slots__})))
        lines.append(_line(judged, before.get(ids[judged.vehicle])))
        tell(f"{judged.vehicle}: {judged.minutes} minutes")
    return lines


def _results(tasks: list[tuple[str, int, int, str]], processes: int | None, dask: str | None) -> Iterator[Judged]:
    if dask is None:
        if len(tasks) == 1:
            yield judge_vehicle(*tasks[0])
            return
        with ProcessPoolExecutor(processes) as pool:
            yield from pool.map(judge_vehicle, *zip(*tasks, strict=True)) if tasks else ()
        return
    try:
        from distributed import Client, as_completed
    except ModuleNotFoundError:
        raise NotJudged("a Dask scheduler needs the package distributed here; install it beside ampledger") from None
    try:
        with Client(dask, timeout=20) as client:
            for done in as_completed(client.map(lambda task: judge_vehicle(*task), tasks, pure=False)):
                yield done.result()
    except OSError as error:
        raise NotJudged(f"the scheduler at {dask} was not reached: {error}") from None


def _line(judged: Judged, before: Any) -> str:
    if judged.why_not:
        return f"{judged.vehicle:<20} {judged.why_not}"
    was = None if before is None or before.capacity_frac is None else (
        before.capacity_frac, before.capacity_low_frac, before.capacity_high_frac)
    return (f"{judged.vehicle:<20} {judged.minutes:>8}  {_words(judged.capacity_frac):<20} {_words(was):<20} {judged.verdict} / "
            f"{'' if before is None else before.verdict}")


def _words(three: tuple[float, float, float] | None) -> str:
    return "not known yet" if three is None else f"{three[0]:.0%} ({three[1]:.0%} to {three[2]:.0%})"
