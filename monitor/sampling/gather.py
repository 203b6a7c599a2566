"""Gathers samples into minutes: the one place where current becomes ampere-hours."""
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import ClassVar

from monitor.replacing import replace
from monitor.sample import Minute, Sample

MINUTE_S = 60.0
#: Readings further apart than this are not joined by a straight line, whatever their usual rhythm: what lies between is a gap.
BRIDGE_S = 300.0
#: A silence is a gap from so long on [s], or from so many usual steps on where readings come more slowly than that. What a
#: battery gave in a dark half minute is not known, however alike the readings on both sides are.
SILENCE_S, SILENCE_STEPS = 30.0, 2.5
#: A quicker rhythm is believed by this part a minute: readings that come quickly around a start change no rhythm.
QUICKENS = 0.97
#: So many steps in a first minute tell the rhythm by themselves.
ENOUGH_STEPS = 4


@dataclass(frozen=True, slots=True)
class Gathering:
    """The minute being filled, the last sample before it, and the usual step between samples so far (0: not known) [s]."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"step_s"})

    before: Sample | None = None
    samples: tuple[Sample, ...] = ()
    step_s: float = 0.0


def add(state: Gathering, sample: Sample) -> tuple[Gathering, Minute | None]:
    """Take one sample; return what is held from now on, and the minute it closed, if any.

    A minute is closed by the first sample beyond it, so that live running and a replay of the
    same readings cut at the same places. A minute owns the moments after its start up to and
    including its end.

    Raises
    ------
    ValueError : the sample is not later than the one before
    """
    last = state.samples[-1] if state.samples else state.before
    if last is not None and sample.at_s <= last.at_s:
        raise ValueError(f"sample at {sample.at_s} s is not later than the one before, {last.at_s} s")
    if state.samples and _bin(sample.at_s) != _bin(state.samples[0].at_s):
        return Gathering(last, (sample,), usual_step_s(state)), close(state)
    return replace(state, samples=(*state.samples, sample)), None


def usual_step_s(state: Gathering) -> float:
    """The usual step after a minute [s]: the median of its steps that are no silence; where all are, the rhythm is another one now.

    A slower rhythm holds at once, a quicker one by and by.
    """
    spans = _spans(state)
    if not spans:
        return state.step_s
    longest = longest_step_s(state.step_s)
    return max(median([span for span in spans if span <= longest] or spans), QUICKENS * state.step_s)


def longest_step_s(step_s: float) -> float:
    """The longest step that is no silence [s], by the usual one (0: not known)."""
    return min(max(SILENCE_S, SILENCE_STEPS * step_s), BRIDGE_S) if step_s else BRIDGE_S


def _spans(state: Gathering) -> list[float]:
    times = [s.at_s for s in (state.before, *state.samples) if s is not None]
    return [later - earlier for earlier, later in pairwise(times)]


def _bin(at_s: float) -> int:
    return -int(-at_s // MINUTE_S)


def minutes(samples: Iterable[Sample], before: Sample | None = None) -> Iterator[Minute]:
    """All minutes of an iterable of samples, the last one included; one list kept per minute.

    samples: in order; before: the one before the first, where there is one.
    """
    held: list[Sample] = []
    step_s = 0.0
    bin_end = float("-inf")
    for sample in samples:
        if held and sample.at_s > bin_end:
            gathered = Gathering(before, tuple(held), step_s)
            yield close(gathered)
            before, held, step_s = held[-1], [], usual_step_s(gathered)
        if not held:
            bin_end = _bin(sample.at_s) * MINUTE_S
        held.append(sample)
    if held:
        yield close(Gathering(before, tuple(held), step_s))


@dataclass(slots=True)
class _Sums:
    """What is added up over the spans between samples [s, Ah, Wh]."""

    gap_s: float = 0.0
    doubt_s: float = 0.0
    covered_s: float = 0.0
    in_ah: float = 0.0
    out_ah: float = 0.0
    in_wh: float = 0.0
    out_wh: float = 0.0

    def add(self, previous: Sample, sample: Sample, longest_s: float) -> None:
        """The span between two samples, by the trapezoidal rule; longer than longest_s [s] it is a gap."""
        span_s = sample.at_s - previous.at_s
        a, b = previous.house_current_a, sample.house_current_a
        self.doubt_s += sample.doubt_s
        if a is None or b is None or span_s > longest_s or sample.doubt_s > 0:
            self.gap_s += span_s
            return
        self.covered_s += span_s
        into, out = _charge(a, b, span_s)
        self.in_ah += into
        self.out_ah += out
        one, other = previous.house_voltage_v, sample.house_voltage_v
        volts = one if other is None else other if one is None else (one + other) / 2
        if volts is not None:
            self.in_wh += into * volts
            self.out_wh += out * volts

    def mean_a(self, measured: list[float]) -> float | None:
        """Mean current over the covered time, else of what was measured at all."""
        if self.covered_s:
            return (self.in_ah - self.out_ah) * 3600 / self.covered_s
        return _mean(measured)


def close(state: Gathering) -> Minute:
    """The minute that these samples make."""
    samples, last = state.samples, state.samples[-1]
    sums = _Sums()
    previous = state.before
    spans = _spans(state)
    longest_s = longest_step_s(state.step_s or (median(spans) if len(spans) >= ENOUGH_STEPS else 0.0))
    for sample in samples:
        if previous is not None:
            sums.add(previous, sample, longest_s)
        previous = sample
    house_v = _drop_missing([s.house_voltage_v for s in samples])
    house_a = _drop_missing([s.house_current_a for s in samples])
    starter_v = _drop_missing([s.starter_voltage_v for s in samples])
    return Minute(
        start_s=state.before.at_s if state.before else samples[0].at_s, end_s=last.at_s, samples=samples,
        gap_s=sums.gap_s, gap_doubt_s=sums.doubt_s, covered_s=sums.covered_s, house_current_a=sums.mean_a(house_a),
        house_current_low_a=min(house_a, default=None), house_current_high_a=max(house_a, default=None),
        charge_in_ah=sums.in_ah, charge_out_ah=sums.out_ah, energy_in_wh=sums.in_wh, energy_out_wh=sums.out_wh,
        house_voltage_v=_mean(house_v),
        house_voltage_low_v=min(house_v, default=None), house_voltage_high_v=max(house_v, default=None),
        starter_voltage_v=median(starter_v) if starter_v else None,
        starter_voltage_low_v=min(starter_v, default=None), starter_voltage_high_v=max(starter_v, default=None),
        house_temperature_c=_latest([s.house_temperature_c for s in samples]),
        starter_temperature_c=_latest([s.starter_temperature_c for s in samples]),
        ambient_temperature_c=_latest([s.ambient_temperature_c for s in samples]),
        solar_current_a=_latest([s.solar_current_a for s in samples]),
        ignition_on=_latest([s.ignition_on for s in samples]), hour=last.hour, year_day=last.year_day,
        fast_starter=tuple(pair for s in samples for pair in s.fast_starter),
    )


def _drop_missing(values: list[float | None]) -> list[float]:
    return [v for v in values if v is not None]


def _mean(values: list[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _charge(a: float, b: float, span_s: float) -> tuple[float, float]:
    """Ampere-hours into and out of the battery along a straight line from a to b [A]."""
    if a <= 0 >= b:
        return 0.0, -(a + b) * span_s / 7200
    if a >= 0 <= b:
        return (a + b) * span_s / 7200, 0.0
    return _split(a, b, span_s)


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
