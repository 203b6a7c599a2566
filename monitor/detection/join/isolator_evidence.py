"""Whether the batteries are joined: evidence from both voltages and the house current, added up as log-odds."""
from functools import lru_cache
from math import exp, log

from monitor.detection.join import path_voltage
from monitor.detection.join.path_voltage import JoinVoltage
from monitor.detection.join.points import Point
from monitor.findings import Engine, Isolator
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/join", "isolator_evidence")
NAMED = P.number("named")
CEILING = P.number("ceiling")
STEP_V, STEP_A, STEP_WITHIN_S = P.number("step_v"), P.number("step_a"), P.number("step_within_s")
LARGE_STEP_V = P.number("large_step_v")
SLOW_STEP_V, SLOW_LEAST_S, SLOW_MOST_S = P.number("slow_step_v"), P.number("slow_least_s"), P.number("slow_most_s")
SETTLING_V, SOON_S = P.number("settling_v"), P.number("soon_s")
SLOW_ALIKE_A = P.number("slow_alike_a")
MOST_PER_SLOW_STEP = P.number("most_per_slow_step")
MOST_OF_SLOW = P.number("most_of_slow")
FOLLOWS = P.numbers("follows")
LED_STEP_V, LED_LEAST, LED_ALONE_V, LED_SAYS = P.number("led_step_v"), P.number("led_least"), P.number("led_alone_v"), P.number("led_says")
FORGET, MOST_PER_STEP, MOST_OF_STEPS = P.number("forget"), P.number("most_per_step"), P.number("most_of_steps")
OWN_ODDS, OWN_KEEP, OWN_LEAST_V2, OWN_SPREAD = P.number("own_odds"), P.number("own_keep"), P.number("own_least_v2"), P.number("own_spread")
APART_V = P.number("apart_v")
APART_OHM = P.number("apart_ohm")
FED_S, FED_A = P.number("fed_s"), P.number("fed_a")
PARTED_SAYS = P.number("parted_says")
PLAINLY_FOLLOWS, RECOVER_S = P.number("plainly_follows"), P.number("recover_s")
HOLDS_ABOVE_V = P.number("holds_above_v")
CHARGING_APART_V = P.number("charging_apart_v")
CHARGING_APART_OHM = P.number("charging_apart_ohm")
ABOVE_V = P.number("above_v")
LEAST_NOISE_V, WIDER, WHOLE_POINT_S = P.number("least_noise_v"), P.number("wider"), P.number("whole_point_s")
LEAST_WEIGHT, MOST_WEIGHT, EDGE_S = P.number("least_weight"), P.number("most_weight"), P.number("edge_s")
APART_SAYS, PATH_REST, SHARE_MOST, MORE_V = P.number("apart_says"), P.count("path_rest"), P.number("share_most"), P.number("more_v")
QUIET_HOUSE_V, QUIET_STARTER_V, NOISE_SHARE = P.number("quiet_house_v"), P.number("quiet_starter_v"), P.number("noise_share")
MEAN_TO_SIGMA, BEYOND_NAMED, KEPT_OVER_EDGE = P.number("mean_to_sigma"), P.number("beyond_named"), P.number("kept_over_edge")
LIFT_ALONE_V, LIFT_ALONE_SAYS, LIFT_V = P.number("lift_alone_v"), P.number("lift_alone_says"), P.number("lift_v")
LIFT_A, LIFT_SAYS, CHARGING_ALONE_V = P.number("lift_a"), P.number("lift_says"), P.number("charging_alone_v")
CHARGING_ALONE_SAYS, CHARGING_NEAR_SAYS = P.number("charging_alone_says"), P.number("charging_near_says")
CHARGING_FAR_SAYS, CHARGING_JOINED_SAYS = P.number("charging_far_says"), P.number("charging_joined_says")
ODD_PART, ODD_DENSITY, EVEN_PART = P.number("odd_part"), P.number("odd_density"), P.number("even_part")
SHARE_SPREAD, LEAST_OWN = P.number("share_spread"), P.number("least_own")
FAR_WEIGHT, SLOW_SPREAD = P.number("far_weight"), P.number("slow_spread")
SLOW_SHARE, SLOW_ODD = P.number("slow_share"), P.number("slow_odd")


@dataclass(frozen=True, slots=True)
class IsolatorEvidence:
    """Log-odds that the batteries are joined, and what they rest on."""

    odds: float = 0.0             # all of it
    levels: float = 0.0           # what differences, edges and slow changes say
    likes: tuple[float, ...] = () # log-likelihood of each of FOLLOWS against standing alone
    steps: int = 0                # house steps weighed since the engine last started or stopped
    step_xy: float = 0.0          # sums of the transferred part: kappa = xy / xx
    step_xx: float = 0.0
    noise_v: float = LEAST_NOISE_V        # how much the starter moves when the house does not
    slow_s: float = 0.0           # where the slow step began
    slow_starter_v: float = 0.0
    slow_house_v: float = 0.0
    slow_house_a: float | None = None
    own_xy: float = 0.0           # the same sums over all plainly joined parkings: the share usual for this vehicle
    own_xx: float = 0.0
    gap: JoinVoltage = JoinVoltage()


def state(contact: IsolatorEvidence) -> Isolator:
    """The state in a word: open, closed or unknown."""
    if contact.odds > NAMED:
        return "closed"
    return "open" if contact.odds < -NAMED else "unknown"


def transfer(contact: IsolatorEvidence) -> tuple[float, float] | None:
    """How much of a house step the starter follows (0 apart, 0.1 to 0.9 joined), and its sigma."""
    if contact.step_xx <= 0:
        return None
    return contact.step_xy / contact.step_xx, max(contact.noise_v, LEAST_NOISE_V) / contact.step_xx**0.5


def step(contact: IsolatorEvidence, before: Point | None, point: Point, engine: Engine, since_s: float,
         may_hold: bool = True) -> IsolatorEvidence:
    """The evidence after one more point.

    contact: the evidence so far; before, point: the last point and this one; engine: what it does, since_s [s]; may_hold: a relay
    that was closed when the engine stopped may still be. While the engine runs the alternator holds the starter, so steps say
    nothing and only the difference counts; with the engine off steps say most; since_s: how long it has been doing it [s].
    """
    if point.house_v is None:
        return contact
    running = engine == "running"
    if running:
        after = _weigh_charging(contact, before, point, point.house_v, since_s)
    else:
        after = _weigh_at_rest(contact, point, point.starter_v - point.house_v, since_s, may_hold)
        if point.starter_v < HOLDS_ABOVE_V:
            # low enough for a relay to let go: what joined it holds no longer
            after = after if after.levels <= MOST_OF_SLOW else replace(after, levels=MOST_OF_SLOW)
    if before is not None and before.house_v is not None and point.at_s - before.at_s <= STEP_WITHIN_S:
        after = _weigh_steps(after, before, point, point.house_v - before.house_v, engine, since_s)
    after = _weigh_slow(after, point, point.house_v, running, since_s)
    levels = min(CEILING, max(-CEILING, after.levels))
    own_xy, own_xx = contact.own_xy, contact.own_xx
    if after.steps > contact.steps and contact.odds > OWN_ODDS and not running:
        own_xy = OWN_KEEP * own_xy + after.step_xy - contact.step_xy
        own_xx = OWN_KEEP * own_xx + after.step_xx - contact.step_xx
    odds = min(CEILING, max(-CEILING, levels + step_log_likelihoods(after.likes, _update_own_level(own_xy, own_xx))))
    if (odds, levels, own_xy, own_xx) == (after.odds, after.levels, after.own_xy, after.own_xx):
        return after
    return replace(after, odds=odds, levels=levels, own_xy=own_xy, own_xx=own_xx)


def _weight(point: Point) -> float:
    return min(MOST_WEIGHT, max(LEAST_WEIGHT, point.span_s / WHOLE_POINT_S))


def _weigh_charging(contact: IsolatorEvidence, before: Point | None, point: Point, house_v: float, since_s: float) -> IsolatorEvidence:
    """Engine running: the difference of the voltages, and the edge at which charging begins."""
    levels = contact.levels + _weight(point) * _while_charging(point.starter_v - house_v, point.house_a)
    if before is not None and before.house_v is not None and since_s >= before.at_s - EDGE_S and levels < CEILING:
        levels += _edge(house_v - before.house_v, before, point)
    return replace(contact, levels=levels)


def _weigh_at_rest(contact: IsolatorEvidence, point: Point, apart: float, since_s: float, may_hold: bool) -> IsolatorEvidence:
    """Engine off or unknown: a difference too large for a joined path, or off the line that this path was seen to keep."""
    levels, gap, weight = contact.levels, contact.gap, _weight(point)
    # A starter full of surface charge feeds all loads of a house that is joined to it.
    fed_a = FED_A if may_hold and apart > 0 and point.at_s - since_s < FED_S else 0.0
    if abs(apart) > APART_V + APART_OHM * (abs(point.house_a or 0.0) + fed_a):
        levels -= APART_SAYS * weight
    if point.house_a is not None:
        off = path_voltage.offset_v(gap, point.house_a, apart)
        if off > 1:
            levels -= PARTED_SAYS * weight
            gap = path_voltage.unlearn(gap, point.span_s)
        elif levels < 0 and gap.seconds < path_voltage.LEARN_S and follows(contact) > PLAINLY_FOLLOWS:
            levels += min(-levels, point.span_s / RECOVER_S)    # the voltages said parted, and the steps go on
        if contact.odds > OWN_ODDS and off < 1 and point.at_s - since_s > SOON_S / PATH_REST:
            gap = path_voltage.learn(gap, point.house_a, apart, point.span_s)
    return contact if levels == contact.levels and gap is contact.gap else replace(contact, levels=levels, gap=gap)


def _weigh_steps(contact: IsolatorEvidence, before: Point, point: Point, house_step: float, engine: Engine,
                 since_s: float) -> IsolatorEvidence:
    """A step of the house voltage and how far the starter follows it, or the other way round; else what noise there is."""
    starter_step = point.starter_v - before.starter_v
    at_rest = engine != "running" and since_s < before.at_s
    plausible = abs(house_step) >= STEP_V and abs(starter_step) <= SHARE_MOST * abs(house_step) + MORE_V
    if at_rest and plausible and _update_on_load(before, point, since_s):
        return replace(contact, likes=_weigh_step(contact.likes, house_step, starter_step, contact.noise_v), steps=contact.steps + 1,
                       step_xy=contact.step_xy + house_step * starter_step, step_xx=contact.step_xx + house_step * house_step)
    if at_rest and abs(starter_step) >= LED_STEP_V:
        return replace(contact, levels=max(-CEILING, contact.levels + _update_on_lead(before, point, house_step, contact.noise_v)))
    if engine == "off" and abs(house_step) < QUIET_HOUSE_V and abs(starter_step) < QUIET_STARTER_V:
        return replace(contact, noise_v=contact.noise_v + NOISE_SHARE * (MEAN_TO_SIGMA * abs(starter_step) - contact.noise_v))
    return contact


def _weigh_slow(contact: IsolatorEvidence, point: Point, house_v: float, running: bool, since_s: float) -> IsolatorEvidence:
    """Slow changes: a joined starter follows a load by a small share, slow changes wholly, so only like loads are compared."""
    span_s, house_step = point.at_s - contact.slow_s, house_v - contact.slow_house_v
    loaded = (contact.slow_house_a is not None and point.house_a is not None
              and abs(point.house_a - contact.slow_house_a) > SLOW_ALIKE_A)
    in_time = span_s <= SLOW_MOST_S
    if (loaded and in_time) or span_s < SLOW_LEAST_S or (abs(house_step) < SLOW_STEP_V and in_time):
        return contact
    levels = contact.levels
    if in_time and not running and since_s < contact.slow_s - SOON_S:
        said = _follow_slowly(house_step, point.starter_v - contact.slow_starter_v, span_s)
        levels = levels + said if said < 0 else max(levels, min(levels + said, MOST_OF_SLOW))
    return replace(contact, levels=levels, slow_s=point.at_s, slow_starter_v=point.starter_v, slow_house_v=house_v,
                   slow_house_a=point.house_a)


def follows(contact: IsolatorEvidence) -> float:
    """Log-odds from the steps alone."""
    return step_log_likelihoods(contact.likes, _update_own_level(contact.own_xy, contact.own_xx))


def _update_own_level(own_xy: float, own_xx: float) -> float | None:
    return own_xy / own_xx if own_xx > OWN_LEAST_V2 else None


def is_informative(contact: IsolatorEvidence, before: Point, point: Point) -> bool:
    """Whether a point while open and at rest could move the odds at all.

    contact: the evidence so far; before: the point before; point: the latest point.
    """
    if contact.odds > -CEILING or point.house_v is None or before.house_v is None:
        return True
    return abs(point.house_v - before.house_v) >= LARGE_STEP_V or point.at_s - contact.slow_s >= SLOW_LEAST_S


def update_on_edge(contact: IsolatorEvidence, usually: str) -> IsolatorEvidence:
    """The evidence when the engine starts or stops: what was known of the relay no longer holds.

    usually: what this vehicle's relay was seen to do then, "open", "closed" or "unknown": taken for true
    until the voltages say otherwise.
    """
    odds = {"open": -BEYOND_NAMED * NAMED, "closed": BEYOND_NAMED * NAMED}.get(usually, 0.0)
    return IsolatorEvidence(odds, odds, noise_v=contact.noise_v, own_xy=contact.own_xy, own_xx=contact.own_xx)


def decay_evidence(contact: IsolatorEvidence) -> IsolatorEvidence:
    """The evidence with what earlier steps said mostly forgotten."""
    return replace(contact, likes=tuple(KEPT_OVER_EDGE * v for v in contact.likes))


def _edge(lift: float, before: Point, point: Point) -> float:
    """The house is lifted [V], and its current with it, just as the engine begins to charge."""
    if point.house_a is None or before.house_a is None:
        return LIFT_ALONE_SAYS if lift > LIFT_ALONE_V else 0.0
    return LIFT_SAYS if lift > LIFT_V and point.house_a - before.house_a > LIFT_A else 0.0


def _while_charging(apart: float, house_a: float | None) -> float:
    if house_a is None:
        return -CHARGING_ALONE_SAYS if apart > CHARGING_ALONE_V or apart < -ABOVE_V else CHARGING_NEAR_SAYS
    if apart > CHARGING_APART_V + CHARGING_APART_OHM * max(house_a, 0.0) or apart < -ABOVE_V:
        return -CHARGING_FAR_SAYS
    return CHARGING_JOINED_SAYS


def _weigh_step(likes: tuple[float, ...], house_step: float, starter_step: float, noise: float) -> tuple[float, ...]:
    """The log-likelihoods after one more house step and what the starter did.

    Joined, the starter follows by R_starter / (R_starter + R_path), always the same share; apart it
    does not. Either may be something else one time in twenty.
    """
    sigma = max(WIDER * noise, LEAST_NOISE_V)
    followed = starter_step / house_step
    width = sigma / abs(house_step)
    odd = ODD_PART * ODD_DENSITY
    alone = EVEN_PART * exp(-0.5 * (followed / width) ** 2) / width + odd
    out = []
    for k, share in enumerate(FOLLOWS):
        wide = (width * width + (SHARE_SPREAD * share) ** 2) ** 0.5
        joined = EVEN_PART * exp(-0.5 * ((followed - share) / wide) ** 2) / wide + odd
        said = max(-MOST_PER_STEP, min(MOST_PER_STEP, log(joined / alone)))
        out.append(min(MOST_OF_STEPS, max(-MOST_OF_STEPS, FORGET * (likes[k] if likes else 0.0) + said)))
    return tuple(out)


def _update_on_lead(before: Point, point: Point, house_step: float, noise: float) -> float:
    """Log-odds from a step that the starter makes first: joined, the house and its current follow by a fair share."""
    starter_step = point.starter_v - before.starter_v
    if before.house_a is None or point.house_a is None:
        return 0.0
    taken = (point.house_a - before.house_a) * (1 if starter_step > 0 else -1)
    followed = house_step / starter_step
    if followed > LED_LEAST and taken > STEP_A:
        return LED_SAYS
    return -LED_SAYS if abs(house_step) < max(LED_ALONE_V, 2 * noise) and abs(taken) < STEP_A else 0.0


def _update_on_load(before: Point, point: Point, since_s: float) -> bool:
    """Whether a load or a charger made the step: soon after a stop both batteries also settle alike."""
    if before.house_a is None or point.house_a is None:
        return point.at_s - since_s > SOON_S
    return abs(point.house_a - before.house_a) > STEP_A or point.at_s - since_s > SOON_S


@lru_cache(maxsize=8)       # asked twice a minute, and most minutes bring no step
def step_log_likelihoods(likes: tuple[float, ...], own: float | None = None) -> float:
    """Log-odds from the steps: the mean likelihood over all shares the starter may follow by.

    own: the share by which this vehicle's starter follows when joined; shares far from it then count little.
    """
    if not likes:
        return 0.0
    if own is None:
        return max(-CEILING, min(CEILING, log(sum([exp(v) for v in likes]) / len(likes))))
    weights = [exp(-0.5 * (log(max(own, LEAST_OWN) / share) / OWN_SPREAD) ** 2) + FAR_WEIGHT for share in FOLLOWS]
    said = sum([w * exp(v) for w, v in zip(weights, likes, strict=True)]) / sum(weights)
    return max(-CEILING, min(CEILING, log(said)))


def _follow_slowly(house_step: float, starter_step: float, span_s: float) -> float:
    """Log-odds from a slow change: joined, both move alike; apart, the starter only settles."""
    if abs(starter_step) > SHARE_MOST * abs(house_step) + MORE_V:
        return 0.0      # something else moved it
    own = SETTLING_V * (1 + span_s / 3600)
    alike = own + SLOW_SPREAD * abs(house_step)
    joined = exp(-0.5 * ((starter_step - SLOW_SHARE * house_step) / alike) ** 2) / alike
    alone = exp(-0.5 * (starter_step / own) ** 2) / own
    return max(-MOST_PER_SLOW_STEP, min(MOST_PER_SLOW_STEP, log((joined + SLOW_ODD) / (alone + SLOW_ODD))))
