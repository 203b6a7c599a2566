"""What the lead-acid charge tracker does at both ends: a full charge while a charger holds it, an empty battery while it stands."""
from math import exp

from monitor.estimation import kalman
from monitor.estimation.charge_anchor import Anchor
from monitor.estimation.charge_filter import CAPACITY, DEPTH, TAIL
from monitor.estimation.charge_state import ChargeState
from monitor.estimation.kalman import Belief
from monitor.findings import Event
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("estimation", "charge_ends")
#: How long a spell at empty goes on teaching; how long a spell at full does.
KNEE_S, SPELL_H = P.number("knee_s"), P.number("spell_h")
#: A full charge or a knee is told once in this time.
AGAIN_S = P.number("again_s")
#: A better tail is one that leaves so much less in doubt.
BETTER = P.number("better")
FIRST_REPEATS, REPEATS = P.number("first_repeats"), P.number("repeats")
FULL_WORDS = "House battery full (charging current has tailed off)."
EMPTY_WORDS = "The house battery's voltage bends down under an ordinary load: it is empty, or nearly."


@dataclass(frozen=True, slots=True)
class Ends:
    """What is known of both ends; the fields are those of ChargeState."""

    belief: Belief
    anchor: str
    anchor_at_s: float | None
    fulls: int
    knee_at_s: float
    session_sigma: float
    session_h: float
    before_session: Belief | None
    news: tuple[Event, ...] = ()

    def was_told(self, end_s: float, anchor: str) -> bool:
        """Whether this anchor was told of a short while ago."""
        return self.anchor == anchor and self.anchor_at_s is not None and end_s - self.anchor_at_s <= AGAIN_S

    def is_better(self, full: Anchor | None) -> bool:
        """Whether this tail says more than the best of this spell."""
        return full is not None and full.total_frac < BETTER * self.session_sigma

    def is_knee(self, empty: Anchor | None, end_s: float) -> bool:
        """Whether this is the beginning of a spell at empty."""
        return empty is not None and not self.was_told(end_s, "empty")


def begin_minute(state: ChargeState, hours: float, high_s: float) -> Ends:
    """Both ends as the last minute left them.

    state: all that is carried; hours: how long this minute is [h]; high_s: for how long the voltage has been a charger's [s].
    """
    session, session_h, before = state.session_sigma, state.session_h + hours, state.before_session
    if high_s == 0.0:
        session, before = 1.0, None
    elif session_h > SPELL_H:
        before = None
    return Ends(state.belief, state.anchor, state.anchor_at_s, state.fulls, state.knee_at_s, session, session_h, before)


def at_full(ends: Ends, full: Anchor, end_s: float, due: bool, capacity_ah: float) -> Ends:
    """After a charge that tails off.

    ends: what is known of both ends; full: what its tail says; end_s: now [s]; due: a window ended; capacity_ah: believed [Ah].
    """
    if ends.is_better(full):
        ends = replace(_take_better(ends, full, end_s), session_sigma=full.total_frac)
    elif due and ends.before_session is None and ends.belief.sigma(DEPTH) > ends.session_sigma * capacity_ah:
        # Held there by the charger; what still goes in is gas and teaches nothing.
        held_frac = min(full.depth_frac, ends.belief.mean[DEPTH] / capacity_ah)
        ends = replace(ends, belief=hold_at(ends.belief, held_frac, ends.session_sigma))
    return replace(ends, anchor="full", anchor_at_s=end_s)


def _take_better(ends: Ends, full: Anchor, end_s: float) -> Ends:
    """A better anchor of the same spell takes the place of the worse one, as if that had not been."""
    if ends.session_sigma == 1.0:
        told = () if ends.was_told(end_s, "full") else (Event(end_s, "full_charge", "house", FULL_WORDS),)
        ends = replace(ends, before_session=ends.belief, session_h=0.0, fulls=ends.fulls + 1, news=ends.news + told)
    if ends.before_session is None:
        return replace(ends, belief=hold_at(ends.belief, full.depth_frac, full.total_frac))
    return replace(ends, belief=apply_anchor(ends.before_session, full))


def at_empty(ends: Ends, empty: Anchor, end_s: float, due: bool, knee: bool) -> Ends:
    """After a knee, and as long as the battery stands there.

    ends: what is known of both ends; empty: what the voltage says; end_s: now [s]; due: a window ended; knee: it begins now.
    """
    belief, knee_at_s, news = ends.belief, ends.knee_at_s, ends.news
    if knee:
        news = (*news, Event(end_s, "empty_seen", "house", EMPTY_WORDS))
        belief, knee_at_s = apply_anchor(belief, empty, repeats=FIRST_REPEATS), end_s
    elif end_s - knee_at_s < KNEE_S:
        # How much deeper it goes from here says a little more each minute.
        belief = apply_anchor(belief, empty, repeats=REPEATS)
    elif due:
        # Still there: nothing new about its size, but however long it stands, it is no fuller; nor emptier than empty, or what is
        # charged next would first fill a hole that no battery has.
        held_frac = min(max(empty.depth_frac, belief.mean[DEPTH] / exp(belief.mean[CAPACITY])), 1.0)
        belief = put_at(belief, Anchor("empty", held_frac, empty.sigma_frac))
    return replace(ends, belief=belief, knee_at_s=knee_at_s, news=news, anchor="empty", anchor_at_s=end_s)


def apply_anchor(belief: Belief, anchor: Anchor, repeats: float = 1.0) -> Belief:
    """The belief after an anchor. Anchors are never refused.

    belief: before it; anchor: what an end says; repeats: how many minutes in a row will say the same.
    """
    capacity = exp(belief.mean[CAPACITY])
    depth = anchor.depth_frac * capacity
    # Empty says how large the battery is. Full does not: what is missing at a given tail is known too
    # badly, and always in the same direction, for a hundred full charges not to add up to a wrong capacity.
    by_capacity = -depth if anchor.kind == "empty" else 0.0
    by = {DEPTH: 1.0, CAPACITY: by_capacity, TAIL: -anchor.depth_by_tail * capacity}
    slopes = tuple(by.get(i, 0.0) for i in range(len(belief.mean)))
    return kalman.update(belief, slopes, depth - belief.mean[DEPTH], repeats * (anchor.sigma_frac * capacity) ** 2)


def hold_at(belief: Belief, depth_frac: float, sigma_frac: float) -> Belief:
    """Charge of a battery that stands at an end, known as well as it was when it was surest there.

    It only takes back the doubt that counting a charger's current has added since; nothing else learns.
    belief: before it; depth_frac: missing from full, of the capacity; sigma_frac: its one sigma.
    """
    capacity = exp(belief.mean[CAPACITY])
    own, known = belief.covariance[DEPTH][DEPTH], (sigma_frac * capacity) ** 2
    if own <= known:
        return belief
    return kalman.update_alone(belief, DEPTH, depth_frac * capacity - belief.mean[DEPTH], 1.0 / (1.0 / known - 1.0 / own))


def put_at(belief: Belief, anchor: Anchor) -> Belief:
    """Charge as the anchor says, and nothing else learnt from it.

    The anchor is a part of the capacity: a wrong capacity makes the depth wrong with it, and the tie has to
    stay. Without it the next anchor would take the depth for measured, and find the capacity confirmed.
    """
    capacity = exp(belief.mean[CAPACITY])
    depth_ah = anchor.depth_frac * capacity
    return kalman.correlate(
        kalman.reset(belief, DEPTH, depth_ah, anchor.sigma_frac * capacity),
        DEPTH, {CAPACITY: depth_ah, TAIL: anchor.depth_by_tail * capacity})
