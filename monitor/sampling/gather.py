"""Gathers samples into minutes: the one place where current becomes ampere-hours."""
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from statistics import median

from monitor.sample import Minute, Sample

MINUTE_S = 60.0
#: Readings further apart than this are not joined by a straight line: what lies between is a gap.
BRIDGE_S = 300.0


@dataclass(frozen=True, slots=True)
class Gathering:
    """The minute being filled, and the last sample before it."""

    before: Sample | None = None
    samples: tuple[Sample, ...] = ()


def add(held: Gathering, sample: Sample) -> tuple[Gathering, Minute | None]:
    """Take one sample; return what is held from now on, and the minute it closed, if any.

    A minute is closed by the first sample beyond it, so that live running and a replay of the
    same readings cut at the same places. A minute owns the moments after its start up to and
    including its end.

    Raises
    ------
    ValueError : the sample is not later than the one before
    """
    last = held.samples[-1] if held.samples else held.before
    if last is not None and sample.at_s <= last.at_s:
        raise ValueError(f"sample at {sample.at_s} s is not later than the one before, {last.at_s} s")
    if held.samples and _bin(sample.at_s) != _bin(held.samples[0].at_s):
        return Gathering(before=last, samples=(sample,)), close(held)
    return Gathering(before=held.before, samples=(*held.samples, sample)), None


def _bin(at_s: float) -> int:
    return -int(-at_s // MINUTE_S)


def minutes(samples: Iterable[Sample]) -> Iterator[Minute]:
    """All minutes of an iterable of samples, the last one included; one list kept per minute."""
    before: Sample | None = None
    held: list[Sample] = []
    bin_end = float("-inf")
    for sample in samples:
        if held and sample.at_s > bin_end:
            yield close(Gathering(before, tuple(held)))
            before, held = held[-1], []
        if not held:
            bin_end = _bin(sample.at_s) * MINUTE_S
        held.append(sample)
    if held:
        yield close(Gathering(before, tuple(held)))


def close(held: Gathering) -> Minute:
    """The minute that these samples make."""
    samples = held.samples
    first, last = samples[0], samples[-1]
    start_s = held.before.at_s if held.before else first.at_s
    gap_s, doubt_s = 0.0, 0.0
    covered = charge_in = charge_out = energy_in = energy_out = 0.0
    previous = held.before
    for sample in samples:
        if previous is not None:
            span_s = sample.at_s - previous.at_s
            a, b = previous.house_current_a, sample.house_current_a
            doubt_s += sample.doubt_s
            if a is None or b is None or span_s > BRIDGE_S or sample.doubt_s > 0:
                gap_s += span_s
            else:
                covered += span_s
                if a <= 0 >= b:
                    into, out = 0.0, -(a + b) * span_s / 7200
                elif a >= 0 <= b:
                    into, out = (a + b) * span_s / 7200, 0.0
                else:
                    into, out = _split(a, b, span_s)
                charge_in += into
                charge_out += out
                one, other = previous.house_voltage_v, sample.house_voltage_v
                volts = one if other is None else other if one is None else (one + other) / 2
                if volts is not None:
                    energy_in += into * volts
                    energy_out += out * volts
        previous = sample
    house_v = [s.house_voltage_v for s in samples if s.house_voltage_v is not None]
    house_a = [s.house_current_a for s in samples if s.house_current_a is not None]
    starter_v = [s.starter_voltage_v for s in samples if s.starter_voltage_v is not None]
    return Minute(
        start_s=start_s, end_s=last.at_s, samples=samples, gap_s=gap_s, gap_doubt_s=doubt_s,
        covered_s=covered,
        house_current_a=(charge_in - charge_out) * 3600 / covered if covered
        else (sum(house_a) / len(house_a) if house_a else None),
        house_current_low_a=min(house_a, default=None), house_current_high_a=max(house_a, default=None),
        charge_in_ah=charge_in, charge_out_ah=charge_out,
        energy_in_wh=energy_in, energy_out_wh=energy_out,
        house_voltage_v=sum(house_v) / len(house_v) if house_v else None,
        house_voltage_low_v=min(house_v, default=None), house_voltage_high_v=max(house_v, default=None),
        starter_voltage_v=median(starter_v) if starter_v else None,
        starter_voltage_low_v=min(starter_v, default=None),
        starter_voltage_high_v=max(starter_v, default=None),
        house_temperature_c=_latest([s.house_temperature_c for s in samples]),
        starter_temperature_c=_latest([s.starter_temperature_c for s in samples]),
        ambient_temperature_c=_latest([s.ambient_temperature_c for s in samples]),
        solar_current_a=_latest([s.solar_current_a for s in samples]),
        ignition_on=_latest([s.ignition_on for s in samples]), hour=last.hour, year_day=last.year_day,
        fast_starter=tuple(pair for s in samples for pair in s.fast_starter),
    )


def _split(a: float, b: float, span_s: float) -> tuple[float, float]:
    """Ampere-hours into and out of the battery along a straight line from a to b [A] that crosses zero."""
    high, low = max(a, b), min(a, b)
    share = high / (high - low)
    return high / 2 * share * span_s / 3600, -low / 2 * (1 - share) * span_s / 3600


def _latest(values: list[float | None]) -> float | None:
    for value in reversed(values):
        if value is not None:
            return value
    return None
