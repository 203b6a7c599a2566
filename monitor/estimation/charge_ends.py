"""What the charge tracker does at both ends: a full charge as long as a charger holds it, an empty battery as long as it stands."""
from dataclasses import dataclass, replace
from math import exp

from monitor.battery.label import Vehicle
from monitor.estimation import charge_guesses, kalman
from monitor.estimation.charge_anchor import Anchor
from monitor.estimation.charge_filter import CAPACITY, DEPTH, TAIL
from monitor.estimation.charge_guesses import Guess, Guesses
from monitor.estimation.charge_held import ChargeState
from monitor.findings import Event

#: How long a spell at empty goes on teaching; how long a spell at full does.
KNEE_S, SPELL_H = 7200.0, 3.0
#: A full charge or a knee is told once in this time.
AGAIN_S = 6 * 3600.0
#: A better tail is one that leaves so much less in doubt.
BETTER = 0.8
_FULL_WORDS = "House battery full (charging current has tailed off)."
_EMPTY_WORDS = "The house battery's voltage bends down under an ordinary load: it is empty, or nearly."


@dataclass(frozen=True, slots=True)
class Ends:
    """What is known of both ends; the fields are those of ChargeState."""

    guesses: Guesses
    anchor: str
    anchor_at_s: float | None
    fulls: int
    knee_at_s: float
    session_sigma: float
    session_h: float
    before_session: Guesses | None
    news: tuple[Event, ...] = ()

    def told(self, end_s: float, anchor: str) -> bool:
        """Whether this anchor was told of a short while ago."""
        return self.anchor == anchor and self.anchor_at_s is not None and end_s - self.anchor_at_s <= AGAIN_S

    def better(self, full: Anchor | None) -> bool:
        """Whether this tail says more than the best of this spell."""
        return full is not None and full.total_frac < BETTER * self.session_sigma

    def knee(self, empty: Anchor | None, end_s: float) -> bool:
        """Whether this is the beginning of a spell at empty."""
        return empty is not None and not self.told(end_s, "empty")


def of(held: ChargeState, hours: float, high_s: float) -> Ends:
    """Both ends as the last minute left them.

    held: the state; hours: how long this minute is [h]; high_s: for how long the voltage has been a charger's [s].
    """
    session, session_h, before = held.session_sigma, held.session_h + hours, held.before_session
    if high_s == 0.0:
        session, before = 1.0, None
    elif session_h > SPELL_H:
        before = None
    return Ends(held.guesses, held.anchor, held.anchor_at_s, held.fulls, held.knee_at_s, session, session_h, before)


def at_full(ends: Ends, full: Anchor, vehicle: Vehicle, end_s: float, due: bool, capacity_ah: float) -> Ends:
    """After a charge that tails off.

    ends: what is known of both ends; full: what its tail says; vehicle: the labels; end_s: now [s]; due: a window ended;
    capacity_ah: capacity believed [Ah].
    """
    lead_acid = vehicle.house.lead_acid
    if ends.better(full):
        ends = replace(_better(ends, full, vehicle, end_s), session_sigma=full.total_frac)
    elif due and ends.before_session is None:
        best = charge_guesses.best(ends.guesses)
        if best.sigma(DEPTH) > ends.session_sigma * capacity_ah:
            # Held there by the charger; what still goes in is gas and teaches nothing.
            held_frac = min(full.depth_frac, best.mean[DEPTH] / capacity_ah)
            ends = replace(ends, guesses=(
                held_at(ends.guesses, held_frac, ends.session_sigma) if lead_acid
                else put(ends.guesses, replace(full, depth_frac=held_frac, depth_by_tail=held_frac))))
    return replace(ends, anchor="full", anchor_at_s=end_s)


def _better(ends: Ends, full: Anchor, vehicle: Vehicle, end_s: float) -> Ends:
    """A better anchor of the same spell takes the place of the worse one, as if that had not been."""
    lead_acid = vehicle.house.lead_acid
    if ends.session_sigma == 1.0:
        told = () if ends.told(end_s, "full") else (Event(end_s, "full_charge", "house", _FULL_WORDS),)
        ends = replace(ends, before_session=ends.guesses, session_h=0.0, fulls=ends.fulls + 1, news=ends.news + told)
    if ends.before_session is None:
        if lead_acid:
            return replace(ends, guesses=held_at(ends.guesses, full.depth_frac, full.total_frac))
        return replace(ends, guesses=put(ends.guesses, full))
    seen = lead_acid or (ends.knee_at_s > 0.0 and charge_guesses.tied(ends.before_session))
    look = not lead_acid and ends.fulls % charge_guesses.FULLS_A_LOOK == 1
    guesses = anchored(ends.before_session, full, capacity_seen=seen, together=look)
    if look:
        known = ends.knee_at_s > 0.0 or guesses[0].belief.sigma(CAPACITY) < charge_guesses.MEASURED_LN
        guesses = charge_guesses.stepped(guesses[0].belief, vehicle.house, vehicle.current_sensor, known)
    return replace(ends, guesses=guesses)


def at_empty(ends: Ends, empty: Anchor, lead_acid: bool, end_s: float, due: bool, knee: bool) -> Ends:
    """After a knee, and as long as the battery stands there.

    ends: what is known of both ends; empty: what the voltage says; lead_acid: its chemistry; end_s: now [s]; due: a window ended;
    knee: it begins now.
    """
    guesses, knee_at_s, news = ends.guesses, ends.knee_at_s, ends.news
    capacity_seen = lead_acid or ends.fulls > 0
    if knee:
        news = (*news, Event(end_s, "empty_seen", "house", _EMPTY_WORDS))
        guesses, knee_at_s = anchored(guesses, empty, repeats=1.5, capacity_seen=capacity_seen), end_s
    elif end_s - knee_at_s < KNEE_S:
        # How much deeper it goes from here says a little more each minute.
        guesses = anchored(guesses, empty, repeats=20.0, capacity_seen=capacity_seen)
    elif due:
        # Still there: nothing new about its size, but however long it stands, it is no fuller.
        mean = charge_guesses.best(guesses).mean
        held_frac = max(empty.depth_frac, mean[DEPTH] / exp(mean[CAPACITY]))
        guesses = put(guesses, Anchor("empty", held_frac, empty.sigma_frac))
    return replace(ends, guesses=guesses, knee_at_s=knee_at_s, news=news, anchor="empty", anchor_at_s=end_s)


def anchored(
    guesses: Guesses, anchor: Anchor, repeats: float = 1.0, capacity_seen: bool = True, together: bool = True,
) -> Guesses:
    """After an anchor: one belief (together), or every guess, which learns from it. Anchors are never refused.

    guesses: what is believed; anchor: what an end says; repeats: how many minutes in a row will say the same;
    capacity_seen: the depth rests on an anchor at the other end, on a lithium plateau it is a guess until then, and says
    nothing of how large the battery is; together: whether all guesses become one.
    """
    trials = []
    for guess in guesses:
        mean = guess.belief.mean
        capacity = exp(mean[CAPACITY])
        depth = anchor.depth_frac * capacity
        # Empty says how large the battery is. Full does not: what is missing at a given tail is known too
        # badly, and always in the same direction, for a hundred full charges not to add up to a wrong capacity.
        by_capacity = -depth if anchor.kind == "empty" else 0.0
        by = {DEPTH: 1.0, CAPACITY: by_capacity, TAIL: -anchor.depth_by_tail * capacity}
        slopes = tuple(by.get(i, 0.0) for i in range(len(mean)))
        trials.append((slopes, depth - mean[DEPTH], repeats * (anchor.sigma_frac * capacity) ** 2))
    found, _ = charge_guesses.measured(guesses, trials, 1e9, untouched=None if capacity_seen else CAPACITY)
    return (Guess(0.0, charge_guesses.one(found)),) if together else found


def held_at(guesses: Guesses, depth_frac: float, sigma_frac: float) -> Guesses:
    """Charge of a lead-acid battery that stands at an end, known as well as it was when it was surest there.

    It only takes back the doubt that counting a charger's current has added since; nothing else learns.
    guesses: what is believed; depth_frac: missing from full, of the capacity; sigma_frac: its one sigma.
    """
    found = []
    for g in guesses:
        capacity = exp(g.belief.mean[CAPACITY])
        own, known = g.belief.covariance[DEPTH][DEPTH], (sigma_frac * capacity) ** 2
        belief = g.belief
        if own > known:
            belief = kalman.weigh_alone(belief, DEPTH, depth_frac * capacity - belief.mean[DEPTH], 1.0 / (1.0 / known - 1.0 / own))
        found.append(Guess(g.log_weight, belief))
    return tuple(found)


def put(guesses: Guesses, anchor: Anchor) -> Guesses:
    """Charge as the anchor says, and nothing else learnt from it.

    The anchor is a part of the capacity: a wrong capacity makes the depth wrong with it, and the tie has to
    stay. Without it the next anchor would take the depth for measured, and find the capacity confirmed.
    """
    capacity = exp(charge_guesses.one(guesses).mean[CAPACITY])
    depth_ah = anchor.depth_frac * capacity
    return tuple(
        Guess(g.log_weight, kalman.tied(
            kalman.replaced(g.belief, DEPTH, depth_ah, anchor.sigma_frac * capacity),
            DEPTH, {CAPACITY: depth_ah, TAIL: anchor.depth_by_tail * capacity}))
        for g in guesses)
