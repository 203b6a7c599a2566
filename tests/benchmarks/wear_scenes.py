"""Lives, weeks and swings of batteries in one use after the other, and what is made of their wear: each part by itself."""
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from math import log
from random import Random


def years() -> Iterator[tuple[str, str]]:
    """How long each kind lasts in a mild, a deep, a hot and a never quite full use; new, and measured after some years."""
    from monitor.battery.label import Battery
    from monitor.wear.life import MeasuredCapacity, forecast_life
    from monitor.wear.life_use import UseSlot, label_of
    from tests.golden import text
    from tests.monitor.test_life import _life

    uses = {"mild": _life(days=30), "deep": _life(0.85, days=30), "hot": _life(0.5, 38.0, days=30), "part": _life(0.4, 5.0, 40, days=30),
            "frost": _life(0.6, -4.0, 5, days=30),
            "flat": [UseSlot(1.0, 0.012 * (k % 3), 2.0 * (k % 3 == 2), 1.0, 25.0) for k in range(720)],
            "on float": [UseSlot(1.0, 1.0, 0.2, 0.2, 20.0) for k in range(720)], "short": _life(days=15), "two weeks": _life(days=12)}
    for chemistry, (use, slots) in product(("agm", "lfp", "flooded", "gel"), uses.items()):
        label = label_of(Battery("house", chemistry, 100.0))
        yield "years", f"{chemistry}, {use}: {text.life(forecast_life(slots, label))}"
        for measured in (MeasuredCapacity(0.9, 0.05, 2.0), MeasuredCapacity(0.7, 0.01, 0.4), MeasuredCapacity(0.85, 0.1, None),
                         MeasuredCapacity(1.0, 0.005, 6.0), MeasuredCapacity(0.015, 0.1, 8.0)):
            found = forecast_life(slots, label, 0.6, measured, causes=False)
            yield "years", f"{chemistry}, {use}, {measured}: {text.life(found)} {found.agrees}"
        high = [replace(slot, voltage_v=15.6 if slot.charge_ah else 14.6 if slot.charge_frac > 0.8 else 12.6) for slot in slots]
        yield "years", f"{chemistry}, {use}, held high: {text.life(forecast_life(high, label))}"
        known = label_of(Battery("house", chemistry, 90.0, 20.0, 14.7, 13.8), 300.0, 5.0)
        yield "years", f"{chemistry}, {use}, a charger and a data sheet that are known: {text.life(forecast_life(slots, known))}"
    for part in (0.02, 0.045, 0.055, 0.07):
        try:
            yield "years", f"down to {part}: {text.life(forecast_life(uses['deep'], label, part))}"
        except ValueError as refused:
            yield "years", str(refused)


def verdicts() -> Iterator[tuple[str, str]]:
    """Weeks of capacity and resistance of all sizes, with and without capacity tests: the word, and what it rests on."""
    from monitor.findings import Estimate
    from monitor.wear.verdict import CapacityTest, judge
    from tests.monitor.test_health import HOUSE, _weeks

    def told(name: str, weeks, test=None, **more) -> tuple[str, str]:
        found = judge(weeks, HOUSE, test, **more)
        return "verdicts", f"{name}: {found.word} {[(line.weight, line.seen) for line in found.lines]}"

    for k in range(26):
        yield told(f"{48 + 2 * k} %", _weeks(48 + 2 * k))
        yield told(f"{48 + 2 * k} %, not surely", _weeks(48 + 2 * k, 8.0))
        yield told(f"growth {1 + 0.04 * k:.2f}", _weeks(None, growth=1 + 0.04 * k, count=20))
        yield told(f"growth {1 + 0.04 * k:.2f} at 75 %", _weeks(75, growth=1 + 0.04 * k, count=20))
        growth = Estimate(1 + 0.04 * k, 0.98 + 0.04 * k, 1.02 + 0.04 * k, "measured")
        yield told(f"growth {1 + 0.04 * k:.2f} by the tracker", _weeks(90), growth=growth)
        yield told(f"{k} weeks", _weeks(95, count=k + 2)[:k])
        yield told(f"{k} Ah a week", _weeks(95, charge_out_ah=float(k)))
        yield told(f"{k - 8} °C", _weeks(70, temperature_c=float(k - 8)))
        late = tuple(replace(w, capacity_ah=w.capacity_ah * (0.6 if j >= 26 - k else 1.0)) for j, w in enumerate(_weeks(95, count=26)))
        yield told(f"{k} weeks of late", late)
        yield told(f"nothing known for {k} weeks", tuple(
            replace(w, capacity_ah=None) if j >= 26 - k else w for j, w in enumerate(_weeks(70, count=26))))
        yield told(f"empty twice at {0.03 * k:.2f}", tuple(
            replace(w, empties_above_frac=0.03 * k * (j > 9)) for j, w in enumerate(_weeks(90))))
        yield told(f"empty twice, {k} weeks ago", tuple(
            replace(w, empties_above_frac=0.8 * (j in (26 - k, 25 - k))) for j, w in enumerate(_weeks(90, count=26))))
        yield told(f"tested {20 * k} days ago", _weeks(90, count=3), CapacityTest(3 * 604800.0 - 20 * k * 86400.0, 72.0, 69.0, 75.0))


def weeks() -> Iterator[tuple[str, str]]:
    """Resistance over the weeks, by growth, depth, cold and number, and what its late part does."""
    from monitor.findings import Estimate
    from monitor.wear import resistance_trend
    from monitor.wear.resistance_weeks import WeekLevel
    from tests.golden import text
    from tests.monitor.test_resistance_weeks import NONE, _weeks

    for k, growth in product(range(2), (1.0, 1.5, 2.5)):
        levels, found = _weeks(Random(k), growth, 0.3 + k, -0.012)
        for count in range(3, 27, 1 if k else 4):
            yield "weeks", f"{growth} after {count}: {text.answer(resistance_trend.growth(levels[:count], found))}"
        levels, found = _weeks(Random(7 + k), growth, 0.3 + k, -0.012, count=12)
        for colder_k in range(-10, 28, 2):
            cold = tuple(replace(level, warmth_k=level.warmth_k - colder_k) for level in levels)
            yield "weeks", f"{growth}, colder by {colder_k} K: {text.answer(resistance_trend.growth(cold, found))}"
        for late, count in product((0.0, 0.001, 0.003), range(0, 10)):
            slow = tuple(WeekLevel(j * 604800.0, log(0.003 + 0.006 * (1 + (growth - 1) * j / 11)), 0.0, 0.0, 0.01,
                                   late if j >= 12 - count else None) for j in range(12))
            seen = resistance_trend.growth(slow, NONE)
            yield "weeks", f"{growth}, {late} late in {count}: {text.answer(seen) if isinstance(seen, Estimate) else seen.because}"
        for jump in range(1, 13):
            odd = tuple(replace(level, log_ohm=level.log_ohm + 0.05 * jump * (j % 3 == 0)) for j, level in enumerate(levels))
            yield "weeks", f"{growth}, jumps by {0.05 * jump:.2f}: {resistance_trend.growth(odd, found)}"


def steps() -> Iterator[tuple[str, str]]:
    """Load steps of one week, few or many, alike or not, deep or not, with and without a late part; swings of charge, small and large."""
    from monitor.usage.load_off import LoadStep
    from monitor.wear import rainflow_count, resistance_weeks
    from monitor.wear.resistance_weeks import Sums
    from tests.monitor.test_resistance_weeks import HOUSE, NONE

    for k, scatter in product(range(1, 30), (0.0, 0.002, 0.08)):
        for deepest, late in ((0.3, 0), (0.04 * k, 0), (0.5, k)):
            chance, sums = Random(k), Sums()
            for j in range(2 * k if deepest == 0.3 else 60):
                charge = 1.0 - deepest * chance.random()
                ohm = 0.006 * (1.0 + 0.3 * (1.0 - charge)) * (1.0 + chance.gauss(0.0, scatter))
                sums = resistance_weeks.add(sums, LoadStep(ohm, 4.0, 4.0, 0.0002 if j % 30 < late else None), 1.0, charge, -5.0, NONE)
            inside = resistance_weeks.within_week(sums)
            found = resistance_weeks.effects(inside, HOUSE)
            yield "steps of load", f"{k}, {scatter}, {deepest}, {late}: {resistance_weeks.level(sums, 0.0, found)} {found.depth:.6g}"
    for k in range(1, 30):
        state = rainflow_count.Rainflow()
        for j in range(200):
            state = rainflow_count.add(state, 0.5 + 0.001 * k * (j % 2) + 0.2 * (j // 50 % 2))
        yield "steps of load", f"swings of {0.1 * k:.1f} %: {rainflow_count.count_with_halves(state)}"


def swung() -> Iterator[tuple[str, str]]:
    """Swings of lead-acid between full and a quiet hour, and of lithium between full and its knee, by depth, load, rest and silence."""
    from monitor.wear import swings
    from tests.golden import text
    from tests.monitor.test_swings import _ended, _found, _lived, _minute, _vehicle

    for true_ah, hours, load_a in product((60.0, 95.0), (2.0, 3.5, 5.0, 8.0, 12.0, 20.0, 26.0), (0.5, 2.0, 3.5, 4.5, 5.5, 7.0)):
        vehicle = _vehicle()
        held = _ended(_lived(vehicle, true_ah, hours, load_a), vehicle)
        yield "swung", f"{true_ah} Ah, {hours} h of {load_a} A: {text.answer(swings.own_capacity(held, vehicle))} {held.most_ah:.6g}"
    for gap_s, back_ah, inflow_a, after_h, volts in (
            *((60.0 * k * k, 0.0, 0.0, 6.0, 12.5) for k in range(1, 8)), *((0.0, 4.0 * k, 0.0, 6.0, 12.5) for k in range(1, 19)),
            *((0.0, 0.0, 0.04 * k, 6.0, 12.5) for k in range(1, 9)), *((0.0, 5.0, 0.0, 0.4 * k, 12.5) for k in range(1, 12)),
            *((0.0, 0.0, 0.0, 6.0, 10.9 + 0.15 * k) for k in range(1, 17))):
        vehicle = _vehicle()
        held, at_s = _lived(vehicle, 90.0, 12.0, 4.0), 43200.0
        moves = [(13.3, back_ah, 60.0)] if back_ah else []
        for high_v, amps, minutes in (*moves, (volts, inflow_a - 0.03, 60.0 * after_h)):
            for k in range(int(minutes)):
                held = swings.update(held, _minute(at_s, high_v, amps, gap_s if not k else 0.0), vehicle, _found("full", at_s, 0.5))
                at_s += 60.0
        own = swings.own_capacity(_ended(held, vehicle), vehicle)
        yield "swung", f"silent {gap_s:.0f} s, {back_ah} Ah back, {inflow_a:.2f} A, {after_h:.1f} h at {volts:.2f} V: {text.answer(own)}"
    for load_a, knee_v, back_ah, count in product((2.0, 5.0, 12.0, 18.0), (11.2, 12.1, 12.45), (0.0, 120.0), (1, 3, 45)):
        vehicle, held, at_s = _vehicle("lfp"), swings.begin(), 0.0
        for _ in range(count):
            held = swings.update(held, _minute(at_s, 13.9, 0.1), vehicle, _found("full", 0.0, 1.0))
            for k, amps in enumerate((*[-load_a] * 9, *([back_ah] if back_ah else []), *[-load_a] * 9)):
                hour_s = 94.0 / load_a / 18.0 * 3600.0
                minute = replace(_minute(at_s + hour_s * k, 13.2, amps), end_s=at_s + hour_s * (k + 1), covered_s=hour_s,
                                 charge_in_ah=max(amps, 0.0), charge_out_ah=max(-amps, 0.0) * hour_s / 3600.0)
                held = swings.update(held, minute, vehicle, _found("full", hour_s * k, 0.5))
            at_s += 20 * hour_s
            held = swings.update(held, _minute(at_s, knee_v, -load_a), vehicle, _found("empty", 0.0, 0.05))
            at_s += 604800.0
        own = swings.own_capacity(held, vehicle)
        yield "swung", f"lithium, {load_a} A to {knee_v} V, {back_ah} Ah between, {count} times: {text.answer(own)}"


def load_weeks() -> Iterator[tuple[str, str]]:
    """Weeks of load steps as the tracker meets them: many weeks, small and large steps, odd ones among them, deep or not known how deep,
    and full charges soon after each other.
    """
    for count in (50, 70, 95):
        held = _used(count, lambda week, step: 0.006 * (1.0 + 0.006 * week))
        yield "load weeks", f"{count} weeks: {[round(week.start_s / 604800.0) for week in held.weeks]} {_said(held)}"
    for k in range(1, 16):
        for name, given in (
                (f"steps of {0.6 * k:.1f} A among larger ones", {"change_a": lambda step, k=k: 0.6 * k if step % 2 else 12.0,
                                                                 "ohm": lambda week, step: 0.008 if step % 2 else 0.006}),
                (f"steps of {0.05 + 0.005 * k:.3f} ohm", {"ohm": lambda week, step, k=k: 0.05 + 0.001 * k * (step % 6)}),
                (f"at {0.15 + 0.02 * k:.2f} of its charge", {"charge_frac": lambda step, k=k: 0.15 + 0.02 * k + 0.3 * (step % 2)}),
                (f"deep by {0.05 * k:.2f}, every third not known", {
                    "charge_frac": lambda step, k=k: None if step % 3 == 0 else 1.0 - 0.05 * k * (step % 2),
                    "ohm": lambda week, step: 0.006 * (1.0 + 0.3 * (step % 2))}),
                (f"step {k} other than the rest", {"ohm": lambda week, step, k=k: 0.0136 if step == k else 0.006}),
                (f"some other by {0.08 * k:.2f}", {"ohm": lambda week, step, k=k: 0.006 * 2.718 ** (0.08 * k * (step > 25))}),
                (f"full again after {0.7 * k:.1f} h", {"full_each_h": 0.7 * k})):
            yield "load weeks", f"{name}: {_said(_used(5, **{'ohm': lambda week, step: 0.006, **given}))}"


def _used(weeks: int, ohm, change_a=lambda step: 6.0, charge_frac=lambda step: 0.9, full_each_h: float = 80.0):
    """Weeks of thirty load steps, one an hour or two: what is held of them.

    Parameters
    ----------
    weeks : so many
    ohm, change_a, charge_frac : resistance of a step in a week, its amperes, and what is known of the charge then
    full_each_h : full charges, so far apart
    """
    from monitor.battery.label import Battery, Vehicle
    from monitor.findings import ChargeFindings, Estimate, NotYet
    from monitor.sample import Minute, Sample
    from monitor.wear import health

    vehicle, held, wait = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "flooded", 70.0)), health.begin(), NotYet("")
    for week in range(weeks + 1):
        for step in range(32):
            at_s = week * 604800.0 + step * 5 * 3600.0
            known, part, load_a = charge_frac(step), (step * 5.0 / full_each_h) % 1.0, change_a(step)
            charge = ChargeFindings(wait if known is None else Estimate(known, known - 0.02, known + 0.02, "counting"), wait, wait, wait,
                                    wait, wait, "full", part * full_each_h * 3600.0)
            drop_v = load_a * ohm(week, step)
            for k, (volts, amps) in enumerate(((12.6 - drop_v, -load_a), (12.6, 0.0), (12.605, 0.0))):
                from_s = at_s + 60.0 * k
                held = health.update(held, Minute(
                    from_s, from_s + 60.0, (Sample(from_s + 30.0, house_voltage_v=volts, house_current_a=amps),), covered_s=60.0,
                    house_voltage_v=volts, house_current_a=amps, house_temperature_c=20.0 + step % 3), vehicle, charge)
    return held


def _said(held) -> str:
    """Level, verdict and fulls of what is held, and each week's."""
    from monitor.wear import health
    from tests.golden import text
    from tests.monitor.test_starter import VEHICLE

    found = health.findings(held, VEHICLE)
    grown = found.resistance_growth_ratio
    return (f"{found.verdict} {text.answer(found.resistance_ohm)} {text.answer(grown)} {[week.fulls for week in held.weeks[:4]]} "
            f"{[week.resistance_ohm for week in held.weeks[:4]]}")


def tested() -> Iterator[tuple[str, str]]:
    """What a capacity test teaches the charge of each chemistry: by how sure it is, and one of an earlier version, which does not say."""
    from monitor.battery.label import Battery, Vehicle
    from monitor.estimation import house_charge
    from monitor.wear.charge_tested import apply_capacity_test
    from monitor.wear.verdict import CapacityTest

    for chemistry, sigma in product(("agm", "lfp"), (None, *(0.004 * k for k in range(1, 16)))):
        state = house_charge.begin(Vehicle(Battery("house", chemistry, 100.0), Battery("starter", "flooded", 70.0)))
        after = apply_capacity_test(state, CapacityTest(0.0, 82.0, 79.0, 85.0, sigma_ln=sigma))
        yield "tested", f"{chemistry}, {sigma}: {_capacity(after)}"


def _capacity(state) -> str:
    from monitor.estimation.charge_filter import CAPACITY
    from monitor.estimation.lithium_charge import LithiumState

    if isinstance(state, LithiumState):
        return " ".join(f"{c.log_weight:.9g} {c.mean[0]:.9g}" for c in state.estimate.mixture[:6])
    return f"{state.belief.mean[CAPACITY]:.9g}"


SCENES = {"years": years, "verdicts": verdicts, "weeks": weeks, "steps of load": steps, "swung": swung,
          "load weeks": load_weeks, "tested": tested}
