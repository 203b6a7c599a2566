"""Charge of a lithium iron phosphate battery: counted, and corrected by whatever its voltage says, as one mixture.

Every quarter of an hour time passes (predict), one reading is compared with what each component expected (update), and
the mixture is made small again. Nothing else moves a belief.
"""
from functools import partial
from math import exp, hypot, log, sqrt

from monitor.battery.label import Vehicle
from monitor.battery.rest_curves import Family
from monitor.estimation import (
    families,
    gaussian,
    mixture,
    posterior,
    predict,
    prior,
    surroundings,
    update,
    window,
)
from monitor.estimation.observations import end_to_end, graphite_step, reading, repeats, rest, steep_end
from monitor.estimation.observations.end_to_end import EndToEnd
from monitor.estimation.observations.graphite_step import Descent, Fall
from monitor.estimation.observations.reading import CurvePlace, Observation
from monitor.estimation.observations.repeats import Repeats
from monitor.estimation.state import CAPACITY, CHARGE, OFFSET, SIZE, Component, Mixture
from monitor.estimation.surroundings import Surroundings
from monitor.estimation.triangle import layout
from monitor.estimation.window import Window, WindowPast
from monitor.findings import Z95
from monitor.parameters import table
from monitor.posterior import Interval, Posterior
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

_P = table("estimation", "estimator")
#: Weight of not knowing the charge at all, at each reading of an end (ln).
BIRTH = log(_P.number("birth"))
#: The slope at an end differs between components: so much in its logarithm at most.
BIRTH_MARGIN = _P.number("birth_margin")
#: After a gap this long anything may have gone on. Its share grows with this time [h].
UNKNOWN_GAP_H, UNKNOWN_H = _P.number("unknown_gap_h"), _P.number("unknown_h")
#: After a shorter one too, unless it is as long as the one before: then the log is one that is read seldom.
CHARGED_GAP_H, SELDOM_PART = _P.number("charged_gap_h"), _P.number("seldom_part")
#: Charge that nobody saw: how likely in a window, from which density of a voltage on it is asked for (ln, 1/V), and from which share on
#: the count since the last end is no measure any more.
UNSEEN, UNSEEN_FROM, UNSEEN_SURE = _P.number("unseen"), _P.number("unseen_from_ln"), _P.number("unseen_sure")
#: So many windows of one stay at an end count in full.
STAY_STEPS = _P.number("stay_steps")
#: No window for so long means that voltage is not known: then only counting goes on.
LEAST_SECONDS = _P.number("least_seconds")
#: After so long another full charge is one of its own.
AGAIN_S = 3600.0 * _P.number("again_h")
#: So many windows after switch-on are short ones on the flats too.
SOON_STEPS = _P.count("soon_steps")
#: Full and empty, as events: how full, how sure.
FULL_FRAC, EMPTY_FRAC, SURE_FRAC = _P.number("full_frac"), _P.number("empty_frac"), _P.number("sure_frac")
#: A current that runs out by more than this belongs to no full charge [A].
LEAST_A = _P.number("least_a")
#: The step's absence is told anew so much further down, of the rated capacity.
DEEPER_FRAC = _P.number("deeper_frac")


@dataclass(frozen=True, slots=True)
class EstimatorState:
    """What is held from minute to minute."""

    mixture: Mixture
    window: Window = Window()
    past: WindowPast = WindowPast()
    steps: int = 0
    anchor: str = ""
    anchor_at_s: float | None = None
    fulls: int = 0
    empties: int = 0
    without: tuple[str, ...] = ()
    misfit: float = 0.0                    # squared sigmas of the last reading, of the component it fits best
    stale: bool = False                    # the mixture was changed from outside: intervals are to be worked out anew
    charge: Interval = (0.0, 0.5, 1.0)     # this and what follows as of the last step; not cut off at full and empty
    capacity_ah: Interval = (0.0, 0.0, 0.0)
    left_ah: Interval = (0.0, 0.0, 0.0)
    usable_ah: Interval = (0.0, 0.0, 0.0)  # down to the reserve
    offset_a: tuple[float, float] = (0.0, 0.0)   # of the shunt beyond its correction: mean and sigma
    belief: Posterior | None = None        # to be handed on, in few parts
    descent: Descent = Descent()           # from the last full charge
    swing: EndToEnd = EndToEnd()           # from the last end
    repeats: Repeats = Repeats()           # where on the flats it was read before
    stay: int = 0                          # windows in a row that read the same end
    # for each kind by readings, as far as it counts (log of likelihood)
    said: tuple[float, ...] = (0.0,) * len(families.KINDS)


def begin(vehicle: Vehicle, without: tuple[str, ...] = ()) -> EstimatorState:
    """Nothing seen yet. without: makes whose measured curve is not to be used."""
    first = tuple(c.rounded() for c in mixture.normalise(list(prior.begin(vehicle.house, vehicle.current_sensor))))
    return settle(EstimatorState(first, without=without), vehicle)


def advance(state: EstimatorState, minute: Minute, vehicle: Vehicle) -> EstimatorState:
    """The state after a minute: gathered into the window, and where that is over a step of the mixture.

    state: what was known before; minute: the readings of a minute; vehicle: labels and instruments, as configured.
    """
    battery, sensor = vehicle.house, vehicle.current_sensor
    if state.stale:
        state = settle(state, vehicle)
    if window.has_changed(state.window, minute, battery, sensor):
        state = _step(state, vehicle)
    before_s, past = state.past.last_gap_s, window.follow(state.past, minute, battery, sensor)
    if state.past.current_a is None and past.current_a is not None:
        state = replace(state, mixture=prior.direct(state.mixture, past.rate))
    gathered, gap_h = window.add(state.window, state.past, past, minute, battery, sensor)
    state = replace(state, window=gathered, past=past)
    seldom = abs(3600.0 * gap_h - before_s) < SELDOM_PART * 3600.0 * gap_h
    if gap_h > (UNKNOWN_GAP_H if seldom else CHARGED_GAP_H):
        state = _after_gap(_step(state, vehicle, measure=False), vehicle, gap_h)
    if _due(state, battery.rated_capacity_ah):
        state = _step(state, vehicle)
    return state


def _due(state: EstimatorState, rated_ah: float) -> bool:
    """Whether a window has lasted long enough: on the flats neighbouring readings say the same unless much has flowed, at an end the
    next may say more."""
    w = state.window
    lasted_s = w.hours * 3600.0 + 1.0
    if not state.steps or lasted_s < window.STEP_S:
        return not state.steps and lasted_s >= window.FIRST_STEP_S
    if state.steps < SOON_STEPS or lasted_s >= window.FLAT_STEP_S:
        return True
    return w.in_ah + w.out_ah > window.MOST_FRAC * rated_ah or w.seconds > 0.0 and bool(steep_end.end_of(w.volt_seconds / w.seconds))


def _after_gap(state: EstimatorState, vehicle: Vehicle, gap_h: float) -> EstimatorState:
    """Either nobody was there, and the current on both sides stands for all of it, or anything may have gone on."""
    share = 1.0 - exp(-gap_h / UNKNOWN_H)
    fresh = prior.forget_charge(state.mixture, vehicle.house, vehicle.current_sensor,
                                (state.past.current_a or 0.0) / vehicle.house.rated_capacity_ah)
    both = [replace(c, log_weight=c.log_weight + log(1.0 - share)) for c in state.mixture]
    both += [replace(c, log_weight=c.log_weight + log(share)) for c in mixture.normalise(list(fresh))]
    both = [c.rounded() for c in mixture.normalise(both)]
    lost = share > 0.5
    return settle(replace(state, mixture=tuple(both), steps=0, anchor="" if lost else state.anchor,
                          repeats=Repeats() if lost else state.repeats), vehicle)


def _step(state: EstimatorState, vehicle: Vehicle, measure: bool = True) -> EstimatorState:
    """A step of the estimate with what the window holds."""
    w, past, rated = state.window, state.past, vehicle.house.rated_capacity_ah
    now, misfit, stay, lost = None, state.misfit, 0, False
    most_parts = mixture.MOST if state.steps >= SOON_STEPS else mixture.MOST_AT_FIRST
    if measure and w.seconds >= LEAST_SECONDS:
        now = surroundings.look(w.volt_seconds / w.seconds, w.ampere_seconds / w.seconds, w.rate_seconds / w.seconds, past.warmth_c)
    passed = predict.Passed(w.hours, w.in_ah, w.out_ah, w.doubt_ah2, vehicle.current_sensor.gain_sigma_frac,
                            surroundings.coldness(past.warmth_c))
    kept, said = update.fade(state.mixture, state.said, w.hours)
    found: Mixture = tuple(predict.predict(c, passed) for c in kept)
    curves = families.curves(state.without)
    end, before = "", repeats.follow(state.repeats, w.in_ah - w.out_ah, w.hours)
    if now is not None:
        placed = mixture.refine(found, partial(reading.place, now=now), lambda c, at: rest.bent_v2(at, curves[c.family]),
                                 state.fulls + state.empties, most_parts)
        tailed_off = window.has_tailed_off(past, now.voltage_v, w.ampere_seconds / w.seconds, rated)
        end = steep_end.end_of(now.voltage_v, reading.free_of_current(found, now), tailed_off)
        if end:
            swung = state.swing.origin not in ("", end)
            readings = [steep_end.expect(c, at, curves[c.family], now, rated, end, swung) for c, at in placed]
            if _may_be_born(placed, readings):
                born = [(c, reading.place(c, now)) for c in prior.make_unsure(
                    found, BIRTH, state.fulls + state.empties, vehicle.house, vehicle.current_sensor)]
                placed += born
                readings += [steep_end.expect(c, at, curves[c.family], now, rated, end, swung) for c, at in born]
        else:
            readings = [rest.expect(c, at, curves[c.family], now, rated) for c, at in placed]
            # on the way up the rise to full makes differ by where it begins
            on_flat = state.steps and now.voltage_v < window.HELD_FROM_V
            unseen = _explain_unseen(placed, readings, found, now, curves, vehicle) if on_flat else None
            if unseen is not None:
                placed, readings, lost = unseen
                most_parts = mixture.MOST_AT_FIRST
                # the first reading at a charge that is not known is no repetition
                before = Repeats() if lost else before
        if end:    # it tells charge whatever the make's flats are like; while it lasts, its windows say the same again
            power = again = min(1.0, STAY_STEPS / (stay := state.stay + 1))
        else:
            power, again, before = repeats.news(before, rated), 1.0, repeats.note(before, rated)
        outcome = update.update(tuple(c for c, _ in placed), readings, power, again)
        found, misfit = outcome.mixture, outcome.misfit
        # a kind that died out has nothing to get back
        most = max(said[kind] + news for kind, news in outcome.by_kind.items())
        said = tuple(s + outcome.by_kind[kind] - most if kind in outcome.by_kind else 0.0 for kind, s in enumerate(said))
    found = mixture.reduce(found, most_parts)
    if lost:
        state = _forget_count(state)
    swing = end_to_end.follow(state.swing, w.out_ah - w.in_ah + state.offset_a[0] * w.hours, w.doubt_ah2, w.hours)
    state = replace(state, mixture=found, window=Window(), steps=state.steps + 1, misfit=misfit, swing=swing, stay=stay, said=said,
                    repeats=before)
    state = _descend(state, now, w, rated)
    noted = _note_anchor(settle(state, vehicle), end, w.ampere_seconds / w.seconds if w.seconds else 0.0, rated)
    return _learn_end_to_end(noted, end, vehicle)


def _learn_end_to_end(state: EstimatorState, end: str, vehicle: Vehicle) -> EstimatorState:
    """The state with what the way from the other end tells of the capacity, and the way from this one begun."""
    if not end or state.anchor != end or state.anchor_at_s != state.past.at_s:
        return state
    low, middle, high = state.charge
    # by its quantiles: the little weight of not knowing anything is no doubt of this end
    variance = ((high - low) / (2.0 * Z95)) ** 2
    if not end_to_end.is_whole(state.swing, end, middle, variance, vehicle.house.rated_capacity_ah):
        # on the way to being sure of this end the count from the other one goes on
        return state if state.swing.origin not in ("", end) else replace(state, swing=end_to_end.at_end(state.swing, end, middle, variance))
    found = mixture.normalise([_measure(c, state.swing, state.offset_a[1]) for c in state.mixture])
    return settle(replace(state, mixture=tuple(c.rounded() for c in found),
                           swing=end_to_end.at_end(state.swing, end, middle, variance)), vehicle)


def _measure(c: Component, swing: EndToEnd, offset_sigma_a: float) -> Component:
    """A component after its capacity was measured from end to end; one that knows it better already only pays in weight."""
    value_ln, sigma_ln = end_to_end.capacity(swing, c.mean[CHARGE], c.variance(CHARGE), offset_sigma_a)
    cross = layout(SIZE).rows[CAPACITY](c.covariance)
    total, miss = cross[CAPACITY] + sigma_ln**2, value_ln - c.mean[CAPACITY]
    weight = c.log_weight + gaussian.log_density(miss, total)
    if sigma_ln**2 > cross[CAPACITY]:
        return replace(c, log_weight=weight)
    return Component(weight, c.family, *gaussian.update(c.mean, c.covariance, list(cross), miss, total))


def _descend(state: EstimatorState, now: Surroundings | None, w: Window, rated_ah: float) -> EstimatorState:
    """The state with what the way down from full tells of the capacity."""
    descent, found, heaviest = state.descent, state.mixture, state.mixture[0]
    if not descent.begun:
        return state
    free_v = None if now is None else now.voltage_v - reading.by_current_and_past(
        heaviest, now, families.curves(state.without)[heaviest.family])
    out_ah = w.out_ah - w.in_ah + state.offset_a[0] * w.hours
    descent = graphite_step.follow(descent, out_ah, w.doubt_ah2, free_v, now, rated_ah)
    since_s, now_s = descent.taught_at_s, state.past.at_s
    if now_s is None or not descent.points or since_s is not None and now_s - since_s < graphite_step.AGAIN_S:
        return replace(state, descent=descent)
    fall = graphite_step.find_fall(descent, rated_ah)
    if fall is not None:
        found = _teach(found, fall, descent, rated_ah)
        return replace(state, mixture=found, descent=replace(descent, begun=False, points=(), taught_at_s=now_s, floor_ah=0.0))
    depth_ah = descent.points[-1][0]
    if depth_ah > descent.floor_ah + DEEPER_FRAC * rated_ah:
        here = graphite_step.find_absence(descent, rated_ah)
        if here is not None:
            before = graphite_step.at_depth(descent, descent.floor_ah, rated_ah)
            found = mixture.normalise([replace(c, log_weight=c.log_weight + _gain(c, here) - _gain(c, before)) for c in found])
            descent = replace(descent, floor_ah=depth_ah)
    return replace(state, mixture=found, descent=descent)


def _gain(c: Component, at: Fall | None) -> float:
    return 0.0 if at is None else at.log_not_yet(families.KINDS[c.family], c.mean[CAPACITY], c.variance(CAPACITY))


def _teach(found: Mixture, fall: Fall, descent: Descent, rated_ah: float) -> Mixture:
    """The mixture after the step told a capacity; what its absence had told before is part of it, and taken back."""
    before, parts = graphite_step.at_depth(descent, descent.floor_ah, rated_ah), []
    for c in found:
        cross = layout(SIZE).rows[CAPACITY](c.covariance)
        likely, miss, slope, total = fall.log_seen(families.KINDS[c.family], c.mean[CAPACITY], cross[CAPACITY])
        mean, covariance = gaussian.update(c.mean, c.covariance, [slope * x for x in cross], miss, total)
        weight = c.log_weight - _gain(c, before)
        parts.append(Component(weight + likely + log(1.0 - graphite_step.UNLIKE), c.family, mean, covariance))
        parts.append(replace(c, log_weight=weight + log(graphite_step.UNLIKE / (graphite_step.UNLIKE_SPAN * rated_ah))))
    return mixture.reduce(tuple(parts))


def _forget_count(state: EstimatorState) -> EstimatorState:
    """The state after charge flowed that nobody saw: what was counted from the last end is no measure of anything any more."""
    return replace(state, steps=0, anchor="", swing=EndToEnd(), descent=replace(state.descent, begun=False, points=(), floor_ah=0.0))


def _explain_unseen(
    placed: list[tuple[Component, CurvePlace]], readings: list[Observation], found: Mixture, now: Surroundings,
    curves: tuple[Family, ...], vehicle: Vehicle,
) -> tuple[list[tuple[Component, CurvePlace]], list[Observation], bool] | None:
    """What a voltage that hardly anything believed explains tells of charge that nobody saw.

    The possibilities with those of a battery whose charge is not known, by how much better they explain it; their readings; and
    whether the count since the last end is no measure any more. Nothing where the voltage is explained.
    """
    explained = update.evidence(tuple(c for c, _ in placed), readings)
    if explained > UNSEEN_FROM:
        return None
    rated = vehicle.house.rated_capacity_ah
    fresh = [(c, reading.place(c, now)) for c in prior.forget_charge(found, vehicle.house, vehicle.current_sensor, now.current_a / rated)]
    more = [rest.expect(c, at, curves[c.family], now, rated) for c, at in fresh]
    odds = UNSEEN * exp(update.evidence(tuple(c for c, _ in fresh), more) - explained)
    share = odds / (1.0 + odds)
    both = [(replace(c, log_weight=c.log_weight + log(part)), at)
            for part, several in ((1.0 - share, placed), (share, fresh)) for c, at in several]
    return both, readings + more, share > UNSEEN_SURE


def _may_be_born(placed: list[tuple[Component, CurvePlace]], readings: list[Observation]) -> bool:
    """Whether not knowing the charge could gain so much by this reading of an end that it would not be dropped at once."""
    wide = gaussian.log_density(0.0, prior.BORN_SIGMA_FRAC**2) + max(r.log_jacobian for r in readings) + BIRTH_MARGIN
    return BIRTH + wide - update.evidence(tuple(c for c, _ in placed), readings) > mixture.LIGHTEST


def _note_anchor(state: EstimatorState, end: str, current_a: float, rated_ah: float) -> EstimatorState:
    """Whether that end of the curve has told the charge."""
    low, middle, high = state.charge
    sure = high - low < 4 * SURE_FRAC
    place_ah = (middle - 1.0) * state.capacity_ah[1]
    if end == "full" and sure and middle > FULL_FRAC and current_a > LEAST_A:
        since_s = None if state.anchor_at_s is None or state.past.at_s is None else state.past.at_s - state.anchor_at_s
        again = state.anchor != "full" or since_s is None or since_s > AGAIN_S
        return replace(state, anchor="full", anchor_at_s=state.past.at_s, fulls=state.fulls + again,
                       descent=graphite_step.begin_anew(state.descent), repeats=repeats.tie(state.repeats, place_ah, rated_ah))
    if end == "empty" and sure and middle < EMPTY_FRAC:
        return replace(state, anchor="empty", anchor_at_s=state.past.at_s,
                       empties=state.empties + (state.anchor != "empty"), repeats=repeats.tie(state.repeats, place_ah, rated_ah))
    return state if state.anchor in ("full", "empty") else replace(state, anchor="rest", anchor_at_s=state.past.at_s)


def settle(state: EstimatorState, vehicle: Vehicle) -> EstimatorState:
    """The state with its intervals worked out anew."""
    shares, w = mixture.shares(state.mixture), state.window
    now = posterior.posterior(state.mixture, shares, w.out_ah - w.in_ah, w.doubt_ah2 + _gap_doubt_ah2(state, vehicle),
                              vehicle.current_sensor.gain_sigma_frac)
    offset_a = sum(w * c.mean[OFFSET] for w, c in zip(shares, state.mixture, strict=True))
    variance = sum(w * (c.variance(OFFSET) + (c.mean[OFFSET] - offset_a) ** 2)
                   for w, c in zip(shares, state.mixture, strict=True))
    charge = posterior.unbounded_charge(now)
    return replace(state, stale=False, offset_a=(offset_a, sqrt(variance)),
                   charge=charge, capacity_ah=now.capacity_ah(), left_ah=now.left_ah(),
                   usable_ah=now.left_ah(vehicle.house.reserve_soc_frac),
                   belief=replace(now, offset_sigma_a=sqrt(variance)).reduce())


def charge_now(state: EstimatorState, vehicle: Vehicle) -> tuple[Interval, float]:
    """Charge at the end of the last minute, counted on from the last step, and net charge drawn since [Ah]."""
    w, capacity = state.window, state.capacity_ah[1]
    doubt = w.doubt_ah2 + _gap_doubt_ah2(state, vehicle)
    out_ah = w.out_ah - w.in_ah
    moved, wider = -out_ah / capacity, 0.0
    low, middle, high = state.charge
    if doubt:
        sigma = sqrt(doubt) / capacity
        wider = hypot((high - low) / (2 * Z95), sigma) * Z95 - (high - low) / 2
    return (_inside(low + moved - wider), _inside(middle + moved), _inside(high + moved + wider)), out_ah


def _inside(frac: float) -> float:
    return min(max(frac, 0.0), 1.0)


def _gap_doubt_ah2(state: EstimatorState, vehicle: Vehicle) -> float:
    if not state.past.gap_s:
        return 0.0
    _, sigma = window.bridge(state.past.current_a, state.past.current_a or 0.0, state.past.gap_s / 3600.0,
                             vehicle.house.rated_capacity_ah)
    return sigma * sigma


def hand_on(state: EstimatorState, vehicle: Vehicle) -> Posterior | None:
    """What is believed at the end of the last minute, in few parts."""
    w = state.window
    doubt = w.doubt_ah2 + _gap_doubt_ah2(state, vehicle)
    if state.belief is None or not (w.out_ah or w.in_ah or doubt):
        return state.belief
    return posterior.count_on(state.belief, w.out_ah - w.in_ah, doubt)
