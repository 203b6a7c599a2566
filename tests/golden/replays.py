"""Every golden replay by name, run through the trackers and the alert rules exactly as the daemon runs them."""
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.findings import Estimate
from monitor.pipeline import Findings
from monitor.process import replay
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from monitor.wear.life import forecast_life
from monitor.wear.life_use import UseSlot, label_of
from tests.golden import lives, recordings, text

FINDINGS = Path(__file__).parent / "findings"
STARTS = "crank"
EVENTS = "events, alerts, verdicts"
USE = "use"
HOUR_S = 3600.0
#: A life is lived again until it is so long: of a shorter one no years are said.
LIFE_DAYS = 21.0


def names() -> list[str]:
    """All golden replays."""
    return [*recordings.drives(), STARTS, *lives.lives()]


def lines(name: str) -> list[str]:
    """What a replay concludes today, as the lines of its file."""
    if name == STARTS:
        return ["# twenty recorded starts, each a life of its own", *(line for _, line in of_starts())]
    if name in lives.lives():
        life = lives.lives()[name]
        return [f"# {life.about}", *_sheet(of_life(life))]
    drive = recordings.drive(name)
    each_h = 6.0 if drive.days is None else 24.0
    with tempfile.TemporaryDirectory() as out:
        walked = ((step.findings, step.alerts) for step in replay.steps(drive.write(Path(out)), drive.vehicle))
        return [f"# {drive.about}", *_sheet(_lines(walked, drive.vehicle, each_h, 2 * each_h))]


def of_life(life: lives.Life) -> Iterator[tuple[str, str]]:
    """What the trackers conclude from a simulated life, as it comes, and how long a battery would last in it: section and line."""
    use: list[UseSlot] = []
    yield from _lines(_steps(life.samples(), life.vehicle, use), life.vehicle, life.estimates_each_h, life.forecasts_each_h)
    whole = use * -(-int(LIFE_DAYS * 24.0) // max(round(sum(slot.hours for slot in use)), 1))
    yield "sentences at the end", text.life(forecast_life(whole, label_of(life.vehicle.house)))


def _steps(samples: Iterable[Sample], vehicle: Vehicle, use: list[UseSlot]) -> Iterator[tuple[Findings, rules.AlertsState]]:
    """Every minute's findings and alerts; the use is added to as the minutes go."""
    held, alerts = pipeline.begin(vehicle), rules.begin()
    for minute in minutes(samples):
        held, found = pipeline.step(held, minute, vehicle)
        alerts = rules.update(alerts, found.conditions, found.at_s)
        charge, warmth_c = found.charge.charge_frac, minute.house_temperature_c
        if isinstance(charge, Estimate) and minute.covered_s > 0.0:
            use.append(UseSlot(minute.covered_s / 3600.0, charge.value, minute.charge_in_ah, minute.charge_out_ah,
                               20.0 if warmth_c is None else warmth_c, minute.house_voltage_v))
        yield found, alerts


def _lines(walked: Iterable[tuple[Findings, rules.AlertsState]], vehicle: Vehicle, estimates_each_h: float,
           forecasts_each_h: float) -> Iterator[tuple[str, str]]:
    """Estimates and forecasts thinned, every event and alert, the verdict's turns, and the sentences at the end: section and line."""
    due_s = due_forecast_s = float("-inf")
    verdict, found = "", None
    for found, alerts in walked:
        if found.at_s >= due_s:
            yield from (("estimates", line) for line in text.estimates(found))
            yield from ((USE, line) for line in text.usage(found))
            due_s = (found.at_s // (estimates_each_h * HOUR_S) + 1) * estimates_each_h * HOUR_S
        if found.at_s >= due_forecast_s:
            yield from (("forecasts", line) for line in (text.forecast(found), text.forecast_words(found)))
            due_forecast_s = (found.at_s // (forecasts_each_h * HOUR_S) + 1) * forecasts_each_h * HOUR_S
        yield from ((EVENTS, text.event(news)) for news in found.news)
        yield from ((EVENTS, line) for news in alerts.news for line in text.change(news))
        if found.health.verdict != verdict:
            verdict = found.health.verdict
            yield EVENTS, f"{found.at_s / 86400:8.3f} d verdict: {verdict}"
    if found is not None:
        yield from (("sentences at the end", line) for line in text.closing_words(found, vehicle.house.rated_capacity_ah))


def _sheet(found: Iterable[tuple[str, str]]) -> Iterator[str]:
    """The lines of a life, section by section."""
    sections: dict[str, list[str]] = {EVENTS: [], "estimates": [], USE: [], "forecasts": []}
    for section, line in found:
        sections.setdefault(section, []).append(line)
    for section, its in sections.items():
        yield from ("", f"## {section}", *its)


def of_starts() -> Iterator[tuple[str, str]]:
    """What is concluded from every recorded start: its name and a line."""
    vehicle = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "agm", 60.0))
    for name, samples in recordings.starts():
        found = None
        happened: list[str] = []
        for found, alerts in _steps(samples, vehicle, []):
            happened += [text.event(news) for news in found.news]
            happened += [line for news in alerts.news for line in text.change(news)]
        assert found is not None
        starter = found.starter
        yield name, (f"{name}: lowest {text.answer(starter.crank_lowest_v)}; drop {text.answer(starter.crank_drop_frac)}; "
               f"{starter.crank_verdict or '-'}; engine {found.join.engine}")
        yield from ((name, f"    {line.strip()}") for line in happened)
