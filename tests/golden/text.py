"""Findings as lines that a diff shows well: one line a moment, six significant digits."""
from collections.abc import Iterable

from monitor.alerts.rules import AlertChange
from monitor.findings import Answer, Estimate, Event
from monitor.pipeline import Findings
from monitor.reporting import sentences
from monitor.wear.life import LifeForecast


def number(value: float | None) -> str:
    """Six significant digits, or a dash."""
    return "-" if value is None else f"{value + 0.0:.6g}"


def answer(found: Answer) -> str:
    """Value, interval and basis; a question mark where it is not known yet."""
    if not isinstance(found, Estimate):
        return "?"
    return f"{number(found.value)} ({number(found.low)} {number(found.high)}) {found.basis}"


def _days(at_s: float) -> str:
    return f"{at_s / 86400:8.3f} d"


def estimates(found: Findings) -> Iterable[str]:
    """Three lines of estimates: the house battery, the starter with the join, and the long run."""
    charge, join, starter, health = found.charge, found.join, found.starter, found.health
    at = _days(found.at_s)
    yield (f"{at} house: charge {answer(charge.charge_frac)}; capacity {answer(charge.capacity_ah)}; left {answer(charge.charge_left_ah)}; "
           f"usable {answer(charge.usable_left_ah)}; ohm {answer(charge.resistance_ohm)}; offset {answer(charge.current_offset_a)}; "
           f"anchor {charge.anchor or '-'} {number(charge.anchor_age_s)}; {charge.charging_stage}")
    yield (f"{at} starter: charge {answer(starter.charge_frac)}; rest {answer(starter.rest_voltage_v)}; drain {answer(starter.drain_a)}; "
           f"doubtful after {number(starter.doubtful_after_s)}; crank {answer(starter.crank_lowest_v)} {answer(starter.crank_drop_frac)} "
           f"{starter.crank_verdict or '-'}; isolator {join.isolator}, engine {join.engine}, {join.build}, path "
           f"{answer(join.path_resistance_ohm)}")
    yield (f"{at} long run: {health.verdict}; usable {answer(health.capacity_frac)}; growth {answer(health.resistance_growth_ratio)}; "
           f"ohm {answer(health.resistance_ohm)}; own {answer(health.own_capacity_ah)}; weeks {health.weeks_count}; out "
           f"{number(health.charge_out_ah)}; "
           f"cycles {number(health.full_cycles_count)}; total in {number(found.counts.total.received_ah)} out "
           f"{number(found.counts.total.spent_ah)}")


def usage(found: Findings) -> Iterable[str]:
    """Three lines of use: who took the charge, the loads that were found, and what was done to the house battery."""
    loads, shares, health = found.loads, found.loads.shares, found.health
    at = _days(found.at_s)
    hours = (loads.sun_rises_solar_hour, loads.sun_leaves_solar_hour, loads.solar_hour, loads.lights_out_solar_hour)
    yield (f"{at} who took: load {answer(loads.load_a)} {answer(shares.load_ah_per_day)}; sun {answer(loads.harvest_a)} "
           f"{answer(shares.harvest_ah_per_day)}{' held back' if loads.curtailed else ''}; fridge {loads.fridge_running} "
           f"{answer(shares.fridge_ah_per_day)} {answer(shares.fridge_a)} {answer(shares.fridge_duty_frac)} {answer(loads.duty_per_k)}; "
           f"base {answer(shares.base_a)}; evening {answer(shares.evening_ah_per_day)}; bursts {answer(shares.bursts_ah_per_day)}; "
           f"rest {answer(shares.rest_ah_per_night)}; drive {answer(loads.drive_charge_a)}; solar hours "
           f"{' '.join(map(number, hours))}")
    named = found.named
    yield (f"{at} loads: all {answer(named.today_ah)} {answer(named.yesterday_ah)} {answer(named.usual_ah_per_day)}" + "".join(
        f"; {load.number} {answer(load.current_a)} A, {number(load.run_s)} of {number(load.every_s)} s, {load.count} times, "
        f"{'on' if load.is_on else 'off'} {answer(load.today_ah)} {answer(load.yesterday_ah)} {answer(load.usual_ah_per_day)}"
        for load in named.loads))
    yield (f"{at} done to it: depths {' '.join(map(number, health.depth_counts))}; low hours {' '.join(map(number, health.low_hours))}; "
           f"heat {' '.join(map(number, health.heat_ratio or ())) or '-'}; since full {number(health.since_full_s)} "
           f"{number(health.longest_without_full_s)}; at least {number(health.at_least_ah)}")


def life(years: LifeForecast) -> str:
    """How long a new battery would last if it were always used like this."""
    causes = ", ".join(f"{cause} {number(costs)}" for cause, costs in years.shortened_by)
    return (f"life: {answer(years.years)}, to 80 % {answer(years.years_to_80)}, a year {answer(years.loss_per_year)}; "
            f"{number(years.full_cycles_per_year)} cycles a year, {number(years.weight_ratio)} as hard as the test; costs {causes or '-'}")


def forecast(found: Findings) -> str:
    """One forecast in a line."""
    f = found.forecast
    fan = [point for point in f.fan if point[0] <= 86400.0][-1:]
    return (f"{_days(found.at_s)} before sun {number(f.probability_before_sun)}; reserve in {number(f.reserve_in_s)} "
            f"({number(f.reserve_in_low_s)} "
            f"{number(f.reserve_in_high_s)}); lowest {number(f.lowest_frac)} ({number(f.lowest_low_frac)} {number(f.lowest_high_frac)}); "
            f"sun in {number(f.sun_back_in_s)}; full in {number(f.full_in_s)}; if cloudy {number(f.probability_cloudy_tomorrow)}; "
            f"fan {' '.join(number(x) for point in fan for x in point) or '-'}; levers {len(f.levers)}")


def forecast_words(found: Findings) -> str:
    """What Tonight says of it, and each act that would help with the risk it leaves."""
    f = found.forecast
    acts = "; ".join(f"{act} {number(risk)}" for act, risk in f.levers)
    return f"{_days(found.at_s)} says: {f.sentence or f.because or '-'} | {acts or '-'}"


def event(news: Event) -> str:
    """What happened once."""
    figures = "".join(f" {name}={number(value)}" for name, value in news.figures)
    return f"{_days(news.at_s)} {news.kind} {news.battery}: {news.message}{figures}"


def change(news: AlertChange) -> Iterable[str]:
    """What happened to an alert, with its words when it is raised or becomes worse."""
    alert = news.alert
    yield (f"{_days(news.at_s)} {news.what} {alert.kind} {alert.battery}, {alert.priority}"
           f"{'' if news.announce else ', not announced'}")
    if news.what in ("raised", "worse"):
        for heading, words in (("seen", alert.seen), ("means", alert.means), ("evidence", alert.evidence), ("look first", alert.look_first),
                               ("goes away", alert.clears_when)):
            yield f"           {heading}: {words}"


def closing_words(found: Findings, rated_capacity_ah: float) -> Iterable[str]:
    """What the pages would say at the end, every reason for not knowing, and the verdict's evidence."""
    yield from sentences.summary(found.charge, found.forecast, found.starter, found.join, found.counts,
                              [c for c in found.conditions if c.active])
    yield sentences.day_sentence(found.counts.total, "In all", found.counts.because)
    yield sentences.crank_sentence(found.starter)
    yield sentences.health_sentence(found.health, rated_capacity_ah)
    for line in found.health.lines:
        yield f"{line.weight}: {line.seen} | {line.overturned_by}"
    yield f"join: {found.join.because}"
    yield f"chemistry: {found.charge.chemistry_doubt}"
    for lever, probability in found.forecast.levers:
        yield f"lever: {lever} {number(probability)}"
