"""Whether the batteries are joined: evidence from both voltages and the house current, added up as log-odds."""
from dataclasses import dataclass, replace
from math import exp, log

from monitor.findings import Engine
from monitor.trackers.points import Point

#: Log-odds beyond which a state is named, and beyond which they are not counted.
NAMED = 1.5
CEILING = 6.0
#: Steps of the house voltage smaller than this say nothing [V]; steps further apart neither [s].
STEP_V = 0.02
STEP_WITHIN_S = 130.0
#: Most that one step, or one point's difference, may say.
MOST_PER_STEP = 2.0
#: A difference this large at rest cannot be across a joined path; more is allowed under current.
APART_V = 0.11
APART_OHM = 0.03
#: While the engine charges: what a sound path may drop, with its loads unknown [V, ohm].
CHARGING_APART_V = 0.25
CHARGING_APART_OHM = 0.055
#: The house lies this much above a running starter only when something else charges it [V].
ABOVE_V = 0.35


@dataclass(frozen=True, slots=True)
class Contact:
    """Log-odds that the batteries are joined, and what the next step is compared with."""

    odds: float = 0.0
    last_s: float | None = None
    last_starter_v: float | None = None
    last_house_v: float | None = None
    steps: int = 0                # house steps weighed since the engine last stopped
    step_odds: float = 0.0        # what they said
    step_xy: float = 0.0          # sums of the transferred part: kappa = xy / xx
    step_xx: float = 0.0
    noise_v: float = 0.003        # how much the starter moves when the house does not
    near_s: float = 0.0           # how long the difference has been small since the stop


def state(contact: Contact) -> str:
    """The state in a word: open, closed or unknown."""
    if contact.odds > NAMED:
        return "closed"
    return "open" if contact.odds < -NAMED else "unknown"


def transfer(contact: Contact) -> tuple[float, float] | None:
    """How much of a house step the starter follows (0 apart, 0.1 to 0.9 joined), and its sigma."""
    if contact.step_xx <= 0:
        return None
    return contact.step_xy / contact.step_xx, max(contact.noise_v, 0.003) / contact.step_xx**0.5


def step(contact: Contact, point: Point, engine: Engine, opens_by_itself: bool) -> Contact:
    """The evidence after one more point.

    While the engine runs the alternator holds the starter, so steps say nothing and only the
    difference counts; with the engine off steps say most. opens_by_itself: the relay of this
    vehicle was seen to open after a run, so that silence after a stop is taken for open.
    """
    if point.starter_v is None or point.house_v is None:
        return contact
    odds = contact.odds
    steps, step_odds, xy, xx = contact.steps, contact.step_odds, contact.step_xy, contact.step_xx
    noise, near_s = contact.noise_v, contact.near_s
    apart = point.starter_v - point.house_v
    if engine == "running":
        odds += _while_charging(apart, point.house_a)
    else:
        current = abs(point.house_a or 0.0)
        if abs(apart) > APART_V + APART_OHM * current:
            odds -= 1.5
            near_s = 0.0
        else:
            near_s += point.span_s
            if opens_by_itself and near_s > 600 and odds > -2 and steps < 3:
                odds -= 0.02 * point.span_s / 60     # nothing moves: silence leans towards the usual
    if contact.last_s is not None and 0 < point.at_s - contact.last_s <= STEP_WITHIN_S:
        house_step = point.house_v - contact.last_house_v
        starter_step = point.starter_v - contact.last_starter_v
        if engine != "running" and abs(house_step) >= STEP_V and (
            abs(starter_step) <= 1.3 * abs(house_step) + 0.01
        ):
            said = _step_says(house_step, starter_step, noise)
            odds += said
            steps += 1
            step_odds += said
            xy += house_step * starter_step
            xx += house_step * house_step
        elif engine == "off" and abs(house_step) < 0.004 and abs(starter_step) < 0.03:
            noise += 0.02 * (1.25 * abs(starter_step) - noise)
    odds = min(CEILING, max(-CEILING, odds))
    return Contact(odds, point.at_s, point.starter_v, point.house_v, steps, step_odds, xy, xx, noise, near_s)


def stopped(contact: Contact) -> Contact:
    """The evidence at the end of a run: the relay should open now, whether it does is to be seen."""
    return replace(contact, odds=0.0, steps=0, step_odds=0.0, step_xy=0.0, step_xx=0.0, near_s=0.0)


def _while_charging(apart: float, house_a: float | None) -> float:
    if house_a is None:
        return -0.6 if apart > 0.9 or apart < -ABOVE_V else 0.5
    if apart > CHARGING_APART_V + CHARGING_APART_OHM * max(house_a, 0.0) or apart < -ABOVE_V:
        return -1.0
    return 0.6


def _step_says(house_step: float, starter_step: float, noise: float) -> float:
    """Log likelihood ratio, joined over apart, of one house step and what the starter did.

    Joined, the starter follows by kappa = R_starter / (R_starter + R_path), taken as anything from
    0.12 to 1; apart it does not. Either may be something else one time in twenty.
    """
    sigma = max(1.5 * noise, 0.004)
    followed = starter_step / house_step
    width = sigma / abs(house_step)
    joined = 0.0
    for kappa in (0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95):
        joined += exp(-0.5 * ((followed - kappa) / max(width, 0.05)) ** 2) / max(width, 0.05)
    joined /= 9
    alone = exp(-0.5 * (followed / width) ** 2) / width
    odd = 0.05 * 0.8
    return max(-MOST_PER_STEP, min(MOST_PER_STEP, log((0.95 * joined + odd) / (0.95 * alone + odd))))
