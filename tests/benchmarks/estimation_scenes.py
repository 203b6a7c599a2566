"""Short lives for the charge estimators alone, lead-acid and lithium: how they are switched on, ends, rests, silences, faults.

Simulated batteries that are loaded and charged by hand, readings of all rhythms; where a life only decides, written readings.
"""
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from random import Random
from typing import Any

HOUR_S = 3600.0
#: What is known is told so often [s].
TOLD_EACH_S = 900.0


@dataclass(frozen=True)
class Stretch:
    """A part of a life: how long, the current that is wanted, what a charger holds, how warm it is, and what of it is read.

    amps: positive into the battery [A], steady or by hours since the life began; until_v: it ends below this [V]; hidden: "all", "volts",
    "amps" or "warmth"; step_s: a reading each so many seconds.
    """

    hours: float
    amps: float | Callable[[float], float]
    held_v: float = 14.4
    until_v: float = 0.0
    warm_c: float = 20.0
    hidden: str = ""
    step_s: float = 30.0


@dataclass(frozen=True)
class Instruments:
    """What they read too much or too little, and by how much readings scatter."""

    high_a: float = 0.0
    gain: float = 1.0
    high_v: float = 0.0
    noise_v: float = 0.0
    noise_a: float = 0.0


Lives = Iterable[tuple[str, Any, Iterable[Any]]]


def told(name: str, lives: Callable[[], Lives]) -> Iterator[tuple[str, str]]:
    """All figures of the house battery's charge four times an hour, and each end, event and suspicion as it comes."""
    from monitor.estimation import house_charge
    from monitor.findings import JoinFindings
    from monitor.sampling.gather import minutes
    from tests.golden.text import answer

    for life, vehicle, samples in lives():
        state, was, join, told_at_s = house_charge.begin(vehicle), "", JoinFindings(), 0.0
        for minute in minutes(samples):
            state = house_charge.update(state, minute, vehicle, join)
            now = f"{state.anchor} {state.fulls} {state.suspicion.reversed} {state.suspicion.odd} {state.suspicion.swap.found}"
            if minute.end_s - told_at_s < TOLD_EACH_S and now == was and not state.news:
                continue
            was, told_at_s, found = now, minute.end_s, house_charge.findings(state, vehicle)
            said = "; ".join(f"{c.kind} {c.seen} {c.evidence} {c.on_delay_s}" for c in house_charge.conditions(state, vehicle) if c.active)
            figures = "; ".join(answer(figure) for figure in (
                found.charge_frac, found.capacity_ah, found.charge_left_ah, found.usable_left_ah, found.resistance_ohm,
                found.current_offset_a))
            news = " ".join(event.kind for event in state.news)
            yield name, (f"{life}, {minute.end_s:.0f} s: {figures}; {now}; {found.anchor_age_s}; {found.chemistry_doubt}; "
                         f"{found.charging_stage}; {said}{news}; {found.posterior}")


def _vehicle(chemistry: str, rated_ah: float = 100.0, **more: Any) -> Any:
    from monitor.battery.label import Battery, CurrentSensor, Vehicle

    sensor = CurrentSensor(**{key: more.pop(key) for key in list(more) if key in CurrentSensor.__dataclass_fields__})
    return Vehicle(Battery("house", chemistry, rated_ah, **more), Battery("starter", "flooded", 60.0), sensor)


def _lived(plan: Any, stretches: Iterable[Stretch], read: Instruments = Instruments(), seed: int = 1) -> Iterator[Any]:
    """Readings of a simulated battery that lives through some stretches."""
    from drivers.vehicle.iron import IronPhosphate
    from drivers.vehicle.lead import LeadAcid
    from monitor.sample import Sample
    from tests import battery_by_hand

    battery, at_s, chance = (IronPhosphate if plan.chemistry == "lfp" else LeadAcid)(plan), 0.0, Random(seed)
    for stretch in stretches:
        battery.warm(stretch.warm_c)
        for _ in range(round(stretch.hours * HOUR_S / stretch.step_s)):
            wanted = stretch.amps(at_s / HOUR_S) if callable(stretch.amps) else stretch.amps
            volts, amps = battery_by_hand.step(battery, stretch.step_s, wanted, stretch.held_v)
            at_s += stretch.step_s
            if stretch.hidden != "all":
                volts_read = volts + read.high_v + chance.gauss(0.0, read.noise_v)
                amps_read = read.gain * amps + read.high_a + chance.gauss(0.0, read.noise_a)
                yield Sample(at_s, None if stretch.hidden == "volts" else volts_read, None if stretch.hidden == "amps" else amps_read,
                             house_temperature_c=None if stretch.hidden == "warmth" else stretch.warm_c, hour=at_s / HOUR_S % 24.0)
            if volts < stretch.until_v:
                break


def _fridge(load_a: float = 5.0, sun_a: float = 0.0) -> Callable[[float], float]:
    """A fridge, twelve minutes on and twenty-four off, something small, and the sun from nine to four."""
    return lambda h: -0.3 - load_a * (int(h * 5.0) % 3 == 0) + (sun_a if 9.0 <= h % 24.0 < 16.0 else 0.0)


def _plan(chemistry: str, soc_frac: float, capacity_frac: float = 0.92, rated_ah: float = 100.0, **more: Any) -> Any:
    from drivers.vehicle.plan import BatteryPlan

    return BatteryPlan(chemistry, rated_ah, true_capacity_frac=capacity_frac, soc_frac=soc_frac, **more)


def _switched_on(chemistries: tuple[str, ...]) -> Lives:
    """Begun at any charge under any current, known well or badly, in the cold and in the heat."""
    first = chemistries[0]
    for charge, amps in product((0.55, 0.06, 0.97, 0.3, 0.8), (-5.0, 0.0, -0.6, -16.0, 9.0)):
        yield f"{first} at {charge}, {amps} A", _vehicle(first), _lived(_plan(first, charge), [Stretch(2.5, amps)])
    for chemistry in chemistries:
        known = {"density": {"acid_density_kg_l": 1.24}} if chemistry == "flooded" else {}
        labels = {"voltmeter": {"voltage_sigma_frac": 0.0005}, "shunt": {"gain_sigma_frac": 0.03, "offset_sigma_a": 0.2},
                  "zero": {"offset_a": 0.1, "gain": 1.02}, "reserve": {"reserve_soc_frac": 0.2, "rated_hours": 5.0}, **known}
        for name, more in labels.items():
            yield f"{chemistry}, {name}", _vehicle(chemistry, **more), _lived(_plan(chemistry, 0.7), [
                Stretch(2.0, _fridge()), Stretch(2.0, 12.0), Stretch(2.0, _fridge())])
        for warm_c, hidden in product((-12.0, 2.0, 38.0), ("", "warmth")):
            yield f"{chemistry} at {warm_c} °C, {hidden}", _vehicle(chemistry), _lived(_plan(chemistry, 0.6), [
                Stretch(1.5, -3.0, warm_c=warm_c, hidden=hidden), Stretch(1.5, 8.0, warm_c=warm_c, hidden=hidden),
                Stretch(1.5, _fridge(), warm_c=warm_c, hidden=hidden)])


def _days(chemistries: tuple[str, ...], days: float = 3.0) -> Lives:
    """A fridge and the sun: full every evening, or never; sound, worn, large; shunt and voltmeter off."""
    lives = (("sound", 0.6, 0.92, 14.0, Instruments(0.05, noise_v=0.004, noise_a=0.02)),
             ("worn", 0.8, 0.62, 14.0, Instruments(0.1, high_v=-0.03)),
             ("never full", 0.7, 0.92, 5.0, Instruments(-0.04, 1.01, 0.02)), ("large", 0.4, 1.08, 20.0, Instruments(-0.1)))
    for k, (name, charge, capacity, sun_a, read) in enumerate(lives):
        chemistry = chemistries[k % len(chemistries)]
        yield f"{chemistry} {name}", _vehicle(chemistry), _lived(
            _plan(chemistry, charge, capacity), [Stretch(24.0 * days, _fridge(6.0, sun_a=sun_a), 14.2)], read)


def _charged(chemistries: tuple[str, ...]) -> Lives:
    """Charged to every voltage by chargers small and large, cold and hot, for long and not, and held there."""
    for k, (amps, held_v) in enumerate(product((10.0, 40.0, 3.0), (14.4, 13.8, 13.5, 14.8))):
        chemistry, warm_c = chemistries[k % len(chemistries)], (25.0, 25.0, -5.0, 10.0, 40.0)[k % 5]
        yield f"{chemistry} to {held_v} V by {amps} A at {warm_c} °C", _vehicle(chemistry), _lived(_plan(chemistry, 0.75), [
            Stretch(1.0, -2.0, warm_c=warm_c), Stretch(20.0 / amps + 4.0, amps, held_v, warm_c=warm_c),
            Stretch(3.0, 5.0, 13.6, warm_c=warm_c), Stretch(3.0, _fridge(), warm_c=warm_c)])
    for chemistry in chemistries:
        yield f"{chemistry}, fed by the sun between clouds", _vehicle(chemistry), _lived(_plan(chemistry, 0.9), [
            Stretch(12.0, lambda h: 12.0 * (int(h * 4.0) % 3 > 0) - 1.0, 14.2), Stretch(6.0, _fridge())])
        yield f"{chemistry}, at float for days", _vehicle(chemistry), _lived(_plan(chemistry, 0.9), [
            Stretch(5.0, 15.0, 14.4), Stretch(30.0, 10.0, 13.6), Stretch(8.0, _fridge()), Stretch(4.0, 15.0, 14.4), Stretch(1.0, -2.0),
            Stretch(3.0, 15.0, 14.4), Stretch(4.0, -1.0)])
        for pause_h in (5.0, 7.0):
            yield f"{chemistry}, full again after {pause_h} h", _vehicle(chemistry), _lived(_plan(chemistry, 0.9), [
                Stretch(4.0, 15.0, 14.2), Stretch(pause_h, -0.5), Stretch(2.0, 15.0, 14.2)])


def _drawn(chemistries: tuple[str, ...]) -> Lives:
    """Drawn to the knee by all loads, cold and warm, and left there; from one end to the other and back."""
    for chemistry, capacity in product(chemistries, (0.95, 0.7)):
        yield f"{chemistry} of {capacity}, from end to end", _vehicle(chemistry), _lived(_plan(chemistry, 0.7, capacity), [
            Stretch(10.0, 15.0, 14.4), Stretch(1.0, 0.0), Stretch(60.0, -4.0, until_v=10.8), Stretch(2.0, 0.0), Stretch(16.0, 12.0, 14.4),
            Stretch(40.0, _fridge(9.0), until_v=10.8), Stretch(12.0, 12.0, 14.4)])
    down, silent = [Stretch(6.0, -20.0, until_v=10.8), Stretch(0.5, 0.0)], [Stretch(12.0, -1.0, hidden="all"), Stretch(2.5, -2.0)]
    yield f"{chemistries[0]}, again and again", _vehicle(chemistries[0]), _lived(_plan(chemistries[0], 0.9), [
        Stretch(3.0, 40.0, 14.2), *down, Stretch(5.0, 40.0, 14.2), *silent, *down, *silent, Stretch(5.0, 40.0, 14.2), *silent])
    for k, (load_a, until_v) in enumerate(product((5.0, 0.2, 1.3, 12.0, 20.0), (10.6, 9.0, 11.4))):
        chemistry, warm_c = chemistries[k % len(chemistries)], (25.0, -8.0, 25.0, 3.0)[k % 4]
        yield f"{chemistry}, empty by {load_a} A to {until_v} V at {warm_c} °C", _vehicle(chemistry), _lived(
            _plan(chemistry, 0.04 + 0.02 * load_a), [
                Stretch(8.0, -load_a, warm_c=warm_c, until_v=until_v), Stretch(3.0, 0.0, warm_c=warm_c),
                Stretch(1.0, -load_a, warm_c=warm_c, until_v=until_v), Stretch(4.0, 8.0, warm_c=warm_c)])


def _silences(chemistries: tuple[str, ...]) -> Lives:
    """Nothing is read for minutes to days, while nothing flows, or a load, or a charger; without voltage, without current."""
    for k, (amps, hours) in enumerate(product((-4.0, 15.0, 0.0), (1.2, 0.06, 0.3, 9.0, 0.13, 0.22, 0.5, 3.5, 40.0))):
        chemistry = chemistries[k % len(chemistries)]
        yield f"{chemistry}, {hours} h of {amps} A unseen", _vehicle(chemistry), _lived(_plan(chemistry, 0.85), [
            Stretch(2.0, 15.0), Stretch(4.0, _fridge()), Stretch(hours, amps, hidden="all"), Stretch(2.0, _fridge()),
            Stretch(hours, amps, hidden="all"), Stretch(3.0, _fridge())])
    for hidden in ("volts", "amps"):
        yield f"{chemistries[0]}, without {hidden}", _vehicle(chemistries[0]), _lived(_plan(chemistries[0], 0.85), [
            Stretch(3.0, 15.0), Stretch(3.0, _fridge()), Stretch(2.0, _fridge(), hidden=hidden), Stretch(2.0, _fridge())])


def _rhythms(chemistries: tuple[str, ...]) -> Lives:
    """Readings each second or an hour apart."""
    for step_s, load in product((10.0, 1.0, 200.0, 400.0, 900.0, 2400.0), (_fridge(), -2.0)):
        hours = 1.0 if step_s < 10.0 else 4.0 if step_s < 100.0 else 8.0
        yield f"{chemistries[0]}, a reading each {step_s} s", _vehicle(chemistries[0]), _lived(_plan(chemistries[0], 0.8), [
            Stretch(hours, load, step_s=step_s), Stretch(hours / 2, 12.0, step_s=step_s), Stretch(hours, load, step_s=step_s)])


def _labels(chemistries: tuple[str, ...]) -> Lives:
    """Batteries that are not what their label says, and shunts wired backwards."""
    for said, true in product(chemistries, ("lfp", "flooded", "agm", "gel")):
        if said != true:
            yield f"{true} called {said}", _vehicle(said), _lived(_plan(true, 0.9), [
                Stretch(18.0, -2.5), Stretch(8.0, 12.0), Stretch(10.0, _fridge())])
    for said, true, more in (("agm", "flooded", {}), ("flooded", "agm", {}), ("flooded", "flooded", {"full_offset_v": -0.3})):
        if said in chemistries:
            yield f"{true} called {said}, full every day", _vehicle(said), _lived(_plan(true, 0.8, **more), [
                Stretch(120.0, _fridge(5.0, sun_a=20.0))])
    chemistry, loads = chemistries[0], _fridge()
    yield f"{chemistry}, backwards", _vehicle(chemistry), _lived(_plan(chemistry, 0.7), [Stretch(5.0, loads)], Instruments(gain=-1.0))
    yield f"{chemistry}, half backwards", _vehicle(chemistry), _lived(
        _plan(chemistry, 0.7), [Stretch(5.0, loads)], Instruments(0.0, 0.4, noise_v=0.04, noise_a=2.5))


def _swaps(chemistries: tuple[str, ...]) -> Lives:
    """The same battery or another after an interruption: charge, resistance, warmth."""
    chemistry, loads = chemistries[0], _fridge()
    for k, (ohm, silent_h, charge) in enumerate(product((2.5, 1.5, 1.0, 0.5), (0.1, 1.0, 0.02, 30.0), (0.55, 0.8))):
        hidden, warm_c = "warmth" if k % 5 == 0 else "", (25.0, 5.0, 15.0)[k % 3]
        first = list(_lived(_plan(chemistry, 0.8), [Stretch(5.0, loads, hidden=hidden)]))
        later = [replace(s, at_s=s.at_s + (5.0 + silent_h) * HOUR_S) for s in _lived(
            _plan(chemistry, charge, resistance_factor=ohm), [Stretch(3.0, loads, warm_c=warm_c, hidden=hidden)])]
        yield (f"{chemistry}, another at {charge} of {ohm} times the resistance after {silent_h} h, {warm_c} °C", _vehicle(chemistry),
               [*first, *later])


def rarely_met() -> Lives:
    """Lead-acid whose charger comes down before it is full, whose voltmeter is rough, that gives back little of what goes in, and
    whose acid is nearly what is usual."""
    yield "comes down early", _vehicle("agm"), _lived(_plan("agm", 0.8), [Stretch(0.6, 30.0, 14.8), Stretch(5.0, 30.0, 13.7)])
    yield "rough voltmeter", _vehicle("agm", voltage_sigma_frac=0.02), _lived(
        _plan("agm", 0.6), [Stretch(4.0, _fridge()), Stretch(6.0, 12.0)])
    yield "loses much", _vehicle("agm"), _lived(_plan("agm", 0.8, loss_frac=0.3), [Stretch(60.0, _fridge(6.0, sun_a=22.0))])
    yield "of another acid than was said", _vehicle("flooded", acid_density_kg_l=1.2, voltage_sigma_frac=0.0005), _lived(
        _plan("flooded", 0.8), [Stretch(60.0, _fridge(5.0, sun_a=20.0))])
    yield "of acid that is stronger than was said", _vehicle("flooded", acid_density_kg_l=1.262, voltage_sigma_frac=0.0005), _lived(
        _plan("flooded", 0.8, full_offset_v=0.3), [Stretch(96.0, _fridge(5.0, sun_a=20.0))])


LEAD, LITHIUM = ("agm", "flooded", "gel"), ("lfp",)
_LIVES = {"on": _switched_on, "days": _days, "charged": _charged, "drawn": _drawn, "silences": _silences, "rhythms": _rhythms,
          "labels": _labels, "swaps": _swaps}


def _of_kinds(name: str, lives: Callable[[tuple[str, ...]], Lives], kinds: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    return told(name, partial(lives, kinds))


SCENES: dict[str, Callable[[], Iterator[tuple[str, str]]]] = {
    f"{group} {name}": partial(_of_kinds, f"{group} {name}", lives, kinds)
    for group, kinds in (("lead", LEAD), ("lithium", LITHIUM)) for name, lives in _LIVES.items()
} | {"rarely met": partial(told, "rarely met", rarely_met)}
