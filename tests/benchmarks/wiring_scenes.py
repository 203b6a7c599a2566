"""Instruments that are wrong by little or by much, and lives that look like it: what the wiring's tracker names, and when.

It goes by itself through these days; what is known of charge and resistance stands still.
"""
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from random import Random

from drivers.vehicle import Ordered, Plan, VehicleSim
from drivers.vehicle.scenarios import late_summer_coast, lithium_valley

DAY_S, HOUR_S = 86400.0, 3600.0
COAST, VALLEY = late_summer_coast(3), lithium_valley(4)
#: kind of fault -> (amount, of both vehicles), days, from which day on, seconds of a step
FAULTS: dict[str, tuple[tuple[str, float, float, float, float], ...]] = {
    "bypass": (("fridge_unseen", 1.0, 2.0, 0.0, 60.0), ("fridge_unseen", 0.7, 1.5, 0.0, 60.0), ("load_unseen", 3.0, 0.6, 0.0, 60.0),
               ("load_unseen", 1.0, 1.0, 0.0, 60.0)),
    "divider": (("house_divider_wrong", 0.8, 1.0, 0.0, 60.0), ("house_divider_wrong", 1.18, 1.0, 0.0, 60.0),
                ("divider_wrong", 0.8, 1.0, 0.0, 60.0), ("divider_wrong", 1.25, 1.0, 0.0, 60.0),
                ("house_divider_wrong", 0.735, 1.0, 0.0, 60.0)),
    "limit": (("current_saturated", 6.0, 1.5, 0.0, 30.0), ("house_voltage_saturated", 13.2, 1.5, 0.0, 30.0)),
    "sun": (("sun_on_sensor", 11.0, 3.0, 0.0, 60.0), ("sun_on_sensor", 18.0, 3.0, 0.0, 60.0)),
    "noise": (("house_voltage_noisy", 0.08, 1.9, 1.2, 30.0), ("current_noisy", 1.5, 1.9, 1.2, 30.0)),
}


def lines(name: str) -> Iterator[tuple[str, str]]:
    """Each condition as it comes and goes: section and line."""
    from monitor.detection.wiring import plausibility
    from monitor.findings import ChargeFindings, Estimate, NotYet
    from monitor.sampling.gather import minutes
    from tests.benchmarks.ensemble import owner

    wait = NotYet("nothing was counted here")
    charge = ChargeFindings(wait, wait, wait, wait, Estimate(0.006, 0.005, 0.007, "measured"), wait)
    for base in (COAST, VALLEY):
        for kind, amount, days, from_day, step_s in FAULTS[name]:
            plan = replace(base, faults=(Ordered(kind, from_day * DAY_S, amount=amount),))
            vehicle, state, was = owner(plan), plausibility.begin(), ""
            about = f"{plan.name}, {kind} {amount:g}"
            for minute in minutes(_samples(plan, days, step_s)):
                state = plausibility.update(state, minute, vehicle, charge)
                now = [c for c in plausibility.conditions(state, vehicle, charge) if c.active]
                if (kinds := " ".join(c.kind for c in now)) != was:
                    yield name, f"{about}, {minute.end_s:.0f} s: " + "; ".join(f"{c.kind}: {c.seen} {c.evidence}" for c in now)
                was = kinds
            yield name, f"{about}, at the end: " + "; ".join(f"{c.kind}: {c.seen} {c.evidence} {c.means}" for c in now)


def _samples(plan: Plan, days: float, step_s: float) -> Iterator:
    from monitor.sample import Sample

    sim = VehicleSim(plan)
    while sim.at_s < days * DAY_S - 1.0:
        sim.step(step_s)
        yield Sample(sim.at_s, hour=(plan.start_hour + sim.at_s / HOUR_S) % 24.0, **sim.reading().values)


#: A minute's volts and amperes of the house battery, volts of the starter battery, warmth [°C].
Reading = tuple[float, float, float | None, float | None]


def steps() -> Iterator[tuple[str, str]]:
    """Voltages that step without a current, and currents that fill nothing: each figure from little to much."""
    for k in range(1, 22):
        for name, figure, change in (
                ("of {} mV", 2 * k, {"step_v": 0.002 * k}), ("with {} mV of scatter", k, {"noise_v": 0.001 * k}),
                ("beside {} A", 0.02 * k, {"rest_a": 0.02 * k}), ("while it moves by {} A", 0.03 * k, {"moves_a": 0.03 * k}),
                ("that move {} A", 0.005 * k, {"with_a": 0.005 * k}),
                ("of which the starter makes {}", 0.02 * k, {"starter_part": 0.02 * k}),
                ("beside a starter {} mV above", 6 * k, {"starter_part": 0.1, "starter_above_v": 0.006 * k}),
                ("of {} mV, a tenth of it the starter's", 4 * k, {"step_v": 0.004 * k, "starter_part": 0.1, "starter_above_v": 0.01}),
                ("beside 3 A that move by {} A", 0.03 * k, {"rest_a": -3.0, "moves_a": 0.03 * k}),
                ("of 50 mV, the starter's {} of it", 0.005 * k, {"starter_part": 0.005 * k, "starter_above_v": 0.05}),
                ("that come back by {}", 0.1 * k, {"back_part": 0.1 * k}), ("that last {} min", 10 * k, {"on_min": 10 * k, "hours": 40}),
                ("each {} min", k, {"on_min": k, "off_min": k, "hours": 4}), ("for {} h", k, {"hours": k}),
                ("that grow by {} mV each", k, {"grows_v": 0.001 * k, "hours": 20}), ("seen {} h later", 12 * k, {"quiet_h": 12 * k})):
            yield _said("steps " + name.format(f"{figure:.3g}"), _stepping(**change))
        yield _said(f"steps by day for {k} h", _stepping(hours=k), from_hour=6.5)
        for amps in (0.1 * k, 0.25 * k):
            nothing: list[Reading] = [(12.7 - 0.0004 * j, amps, None, None) for j in range(400)]
            yield _said(f"{amps:.2f} A flow in at nothing", nothing, rated_ah=60.0 + 20 * k)
        sinking: list[Reading] = [(12.7 - 0.0004 * k * j / 60, 3.0, None, None) for j in range(400)]
        yield _said(f"3 A flow in, sinking by {24 * k} uV an hour", sinking)
        yield "steps", f"the count leaves {0.02 * k:.2f} A: {_offset(0.02 * k, 0.005)} {_offset(0.02 * k, 0.08)} {_offset(0.3, 0.004 * k)}"
        for between in ({"count": k}, {"days": 0.2 * k}, {"left_a": 0.03 * k}, {"silent_s": 180.0 * k}, {"again_s": 900.0 * k},
                        {"sigma_a": 0.004 * k}):
            yield "steps", f"full charges, {between}: {_between_fulls(**between)}"


def channels() -> Iterator[tuple[str, str]]:
    """Readings that stop at one value, scatter or jump: each figure from little to much."""
    for k in range(1, 22):
        lived: list[Reading] = [(12.6 + 0.1 * (j % 3), -2.0 + j % 5, None, None) for j in range(20)]
        top: list[Reading] = [(12.7 + 0.004 * k * (j % 2), 6.0, None, None) for j in range(40)]
        jumping: list[Reading] = [(12.7 + 0.05 * (j % 2), 6.0, None, None) for j in range(40)]
        yield _said(f"6 A and no more after {k} h", [*lived, *_calm(60 * k), *jumping], 6)
        yield _said(f"6 A and no more, volts move by {4 * k} mV", [*lived, *_calm(480), *top], 6)
        yield _said(f"{0.5 * k:.1f} A and no more", [
            *[(12.6, 0.5 * k * (j % 2), None, None) for j in range(480)], *[(v, 0.5 * k, None, None) for v, _, _, _ in jumping]], 6)
        yield _said(f"6 A and no more, {6 * k} h ago", [*lived, *_calm(480), *top[:7], *_calm(360 * k), *top[:7]], 6)
        warm: list[Reading] = [(12.6, -1.0, None, 20.0 + 8.0 * (j // (10 + 2 * k) % 2)) for j in range(900)]
        yield _said(f"warmth that jumps each {10 + 2 * k} min", [one for j, one in enumerate(warm) if j % (10 + 2 * k) < 11])
        yield _said(f"warmth that is seen each {5 * k} min", [
            (v, a, s, c if j % (5 * k) < 10 else None) for j, (v, a, s, c) in enumerate([
                (12.6, -1.0, None, 20.0 + 8.0 * (j // (5 * k) % 2)) for j in range(1800)])])
        loose: list[Reading] = [(12.6, 0.02 * k, None, 20.0 + 8.0 * (j // 12 % 2)) for j in range(900)]
        yield _said(f"warmth that jumps beside {0.02 * k:.2f} A", [one for j, one in enumerate(loose) if j % 12 < 11])
        for usual_v, ended in ((0.001 * k, 0), (0.004, 12 + k)):
            chance = Random(k)
            grown: list[Reading] = [(12.6 + chance.gauss(0.0, 0.06 if 16 * 60 < j < 24 * 60 else usual_v), -2.0, None, None)
                                    for j in range(60 * (26 + ended))]
            yield _said(f"scatter of 0.06 V after {usual_v:.3f} V, for a while", grown, 6, scatters=True)
        for name, early, late in (("2 A scatter and {} mV with them", (0.0007, 0.01), (0.01 * k, 2.0)),
                                  ("2 A scatter beside {} mV of always", (0.0005 * k, 0.01), (0.0005 * k, 2.0))):
            chance = Random(k)
            both: list[Reading] = [(12.6 + chance.gauss(0.0, v), -2.0 + chance.gauss(0.0, a), None, None)
                                   for j in range(1800) for v, a in (late if j > 960 else early,)]
            yield _said(name.format(f"{1000 * late[0]:.1f}"), both, 6, scatters=True)
        for unit, size in (("V", 0.004 * k), ("A", 0.08 * k)):
            chance = Random(k)
            small: list[Reading] = [(12.6 + chance.gauss(0.0, 0.0007), -2.0 + chance.gauss(0.0, 0.03 * k if j > 960 else 0.01), None, None)
                                    for j in range(1800)]
            yield _said(f"scatter of {0.03 * k:.2f} A on a small battery", small, 6, 20.0, scatters=True)
            for told, count in ((0.0, 1), (0.25 * size, 1), (0.0, 6), (0.0, 60)):
                chance = Random(k)
                rows: list[Reading] = []
                for j in range(30 * 60):
                    late = j > 16 * 60
                    v = chance.gauss(0.0, (size if unit == "V" else told / 150) if late else 0.0007)
                    a = chance.gauss(0.0, (size if unit == "A" else told * 150) if late else 0.01)
                    rows.append((12.6 + v, -2.0 + a, None, None))
                yield _said(f"scatter of {size:.3f} {unit}, {told:.3f} of it told, {count} readings", rows, count, scatters=True)


def levels() -> Iterator[tuple[str, str]]:
    """Voltages that no battery has, and nearly so: each figure from little to much."""
    for k in range(1, 22):
        level = 12.2 * (0.72 + 0.03 * k)
        yield _said(f"all at {0.72 + 0.03 * k:.2f} of it", [
            (level + 0.02 * k * (j // 300 % 2), -3.0 if j % 200 < 100 else 4.0, None, None) for j in range(600)])
        yield _said(f"low within {0.08 * k:.2f} V", [
            (9.9 + 0.08 * k * (j // 60 % 2), -2.0 if j % 200 < 150 else 4.0, None, None) for j in range(900)])
        yield _said(f"low at {0.6 * k:.1f} A", [(9.9, -0.6 * k if j % 200 < 150 else 3.0 * k, None, None) for j in range(900)])
        yield _said(f"low at {0.01 * k:.2f} A", [(9.9, -0.01 * k if j % 200 < 190 else 30.0, None, None) for j in range(9000)])
        yield _said(f"low, {0.3 * k:.1f} Ah charged", [*[(9.9, -2.0, None, None)] * 400, *[(9.9, 0.9 * k, None, None)] * 20] * 2)
        yield _said(f"low for {6 * k} h, then lower", [
            *[(10.5, -0.5, None, None)] * 360 * k, *[(9.9, -0.5, None, None)] * 600, *[(9.9, 6.0, None, None)] * 60])
        if k % 5 == 0:
            sinking: list[Reading] = [(10.9 - 0.008 * (j // 60), -0.5, None, None) for j in range(60 * 5 * k)]
            yield _said(f"low for {5 * k} h, sinking", [*sinking, *[(sinking[-1][0], 6.0, None, None)] * 60])
        yield _said(f"high, and {0.25 * k:.2f} h not", [
            *[(15.6, -2.0, None, None)] * 90, *[(12.7, -1.0, None, None)] * (15 * k), *[(15.6, -2.0, None, None)] * 60])
        for name, joined_v, span_v, count in (
                ("joined within {:.2f} V", 0.05 * k, 0.0, 400), ("that wavers by {:.2f} V", 2.0, 0.03 * k, 400),
                ("{:.0f} times", 2.0, 0.0, 60 * k)):
            drives: list[Reading] = [
                (12.6 if j % 60 < 30 else 16.4 - joined_v, -1.0, 15.0 if j % 60 < 30 else 16.4 + span_v * (j % 2), None)
                for j in range(count)]
            yield _said("an engine too high, " + name.format(joined_v if "joined" in name else span_v or k), [
                *drives, *[(v, -1.0, v + 0.1, None) for j in range(60 * 12) for v in (12.6 if j % 60 < 30 else 13.9,)]])
        yield "levels", f"factors: {[_mistake(one) for one in (0.25 * 1.2**k, 0.9 + 0.03 * k, 1.2 + 0.006 * k, 2.4 + 0.03 * k)]}"


def _calm(minutes: int) -> list[Reading]:
    return [(12.6, -1.0 - 0.01 * (j % 2), None, None) for j in range(minutes)]


def _stepping(step_v: float = 0.05, noise_v: float = 0.0, rest_a: float = -0.03, moves_a: float = 0.0, with_a: float = 0.0,
              starter_part: float = 0.0, starter_above_v: float = 0.3, back_part: float = 1.0, on_min: int = 30, off_min: int = 30,
              hours: int = 8, grows_v: float = 0.0, quiet_h: int = 0) -> list[Reading]:
    """Minutes in which the voltage falls and comes back as under a load, and the shunt shows next to nothing."""
    chance, rows, level_v = Random(3), [(12.7 + 0.0007 * (j % 2), -0.03, None, None) for j in range(120)], 12.7
    for j in range(60 * hours):
        cycle, at = divmod(j, on_min + off_min)
        loaded, size_v = at >= off_min, step_v + grows_v * cycle
        if at == 0 and j:
            level_v += size_v * (back_part - 1.0)
        rows.append((level_v - size_v * loaded + chance.gauss(0.0, noise_v), rest_a + moves_a * (j % 2) - with_a * loaded,
                     None if not starter_part else 12.7 + starter_above_v - step_v - starter_part * size_v * loaded, None))
    return [*rows, *[(12.7, -0.03, None, None)] * (60 * quiet_h)]


def _said(name: str, rows: list[Reading], count: int = 1, rated_ah: float = 100.0, from_hour: float = 22.0,
          scatters: bool = False) -> tuple[str, str]:
    """What the alert rules say of such minutes.

    Parameters
    ----------
    name : of the case
    rows : a minute each
    count : readings in each
    rated_ah : of the house battery [Ah]
    from_hour : local hour at which it begins
    scatters : whether the readings of a minute lie as far apart as its figures from 12.6 V and -2 A; else all are alike
    """
    from monitor.alerts import rules
    from monitor.battery.label import Battery, Vehicle
    from monitor.detection.wiring import plausibility
    from monitor.findings import ChargeFindings, NotYet
    from monitor.sample import Minute, Sample

    wait = NotYet("")
    charge, vehicle = ChargeFindings(*[wait] * 6), Vehicle(Battery("house", "agm", rated_ah), Battery("starter", "flooded", 70.0))
    state, alerts, said, at_s = plausibility.begin(), rules.begin(), [], 0.0
    for volts, amps, starter_v, warm_c in rows:
        half_v, half_a = (abs(volts - 12.6), abs(amps + 2.0)) if scatters and count > 1 else (0.0, 0.0)
        v, a = (12.6, -2.0) if scatters and count > 1 else (volts, amps)
        minute = Minute(at_s, at_s + 60.0, (Sample(at_s),) * count, covered_s=60.0, house_current_a=a, house_current_low_a=a - half_a,
                        house_current_high_a=a + half_a, house_voltage_v=v, house_voltage_low_v=v - half_v, house_voltage_high_v=v + half_v,
                        starter_voltage_v=starter_v, house_temperature_c=warm_c, hour=(from_hour + at_s / HOUR_S) % 24.0)
        at_s += 60.0
        state = plausibility.update(state, minute, vehicle, charge)
        alerts = rules.update(alerts, plausibility.conditions(state, vehicle, charge), at_s)
        said += [(c.at_s, c.what, c.alert.kind, c.alert.seen, c.alert.evidence) for c in alerts.news]
    seen = [c.evidence for c in plausibility.conditions(state, vehicle, charge) if c.active]
    return "made up", f"{name}: {said} {seen}"


def _mistake(factor: float) -> tuple[float, str]:
    from monitor.detection.wiring.voltage_level import find_mistake

    return find_mistake(factor)


def _offset(amps: float, sigma_a: float) -> list[bool]:
    """Whether a zero that the charge estimate has learnt is taken for a load past the shunt; sigma_a: how well it was measured."""
    from monitor.battery.label import Battery, CurrentSensor, Vehicle
    from monitor.detection.wiring import plausibility
    from monitor.findings import ChargeFindings, Estimate, NotYet

    wait = NotYet("")
    vehicle = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "flooded", 70.0), CurrentSensor(offset_sigma_a=sigma_a))
    return [[c.active for c in plausibility.conditions(plausibility.begin(), vehicle, ChargeFindings(
        wait, wait, wait, wait, wait, Estimate(amps, amps - doubt, amps + doubt, "learnt")))][0] for doubt in (0.01, 0.08, 0.2)]


def _between_fulls(count: int = 8, days: float = 1.0, left_a: float = 0.3, silent_s: float = 0.0, again_s: float = 0.0,
                   sigma_a: float = 0.01) -> str:
    """What the count between full charges says of a current that goes past the shunt."""
    from monitor.battery.label import Battery, CurrentSensor
    from monitor.detection.wiring import closing
    from monitor.findings import ChargeFindings, NotYet
    from monitor.sample import Minute

    wait, sensor, at_s, seen = NotYet(""), CurrentSensor(offset_sigma_a=sigma_a), 0.0, []
    state, plain = closing.Closing(), ChargeFindings(*[wait] * 6)
    full = replace(plain, anchor="full", anchor_age_s=0.0)
    for cycle in range(count):
        for length_s, charge in ((600.0, full), *(((again_s, plain), (600.0, full)) if again_s else ()), (days * DAY_S, plain)):
            out_ah = (20.0 / DAY_S - left_a * (1 + 0.05 * cycle) / HOUR_S) * length_s
            minute = Minute(at_s, at_s + length_s, (), covered_s=length_s, gap_s=silent_s if charge is plain and cycle == 3 else 0.0,
                            charge_in_ah=20.0 * length_s / DAY_S, charge_out_ah=out_ah)
            at_s += length_s
            state = closing.update(state, minute, sensor, charge)
        seen.append(f"{closing.unseen_a(state, sensor, Battery('house', 'agm', 100.0)):.4g}")
    return " ".join(seen)


SCENES = {**{name: partial(lines, name) for name in FAULTS}, "steps": steps, "channels": channels, "levels": levels}
