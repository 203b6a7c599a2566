"""Whether the alternator is under engine control: let sink and lifted again while the engine runs."""
from dataclasses import dataclass, replace
from math import exp

from monitor.detection.join.points import Point

#: Comes back to charging sooner than this with no start in between: the alternator was turned down [s].
RETURN_S = 900.0
#: So many returns within a drive and the vehicle is known to throttle, and for how many plain drives it stays so.
RETURNS_TO_BELIEVE, REMEMBERED_DRIVES = 2, 4
#: How long a low voltage stays "unknown" after the last step that only a running engine, or a hand, makes [s].
WAIT_S = 1500.0
#: Such a step of the starter, not following the house [V], within [s].
STIRS_V, SUDDEN_S = 0.05, 100.0
#: Larger ones [V], both ends below where alternators charge, so far apart [s]: so many within about an hour count as returns.
BUSTLE_V, BUSTLE_BELOW_V, BUSTLE_APART_S, BUSTLE, BUSTLE_FADES_S = 0.1, 13.2, 60.0, 2.5, 3600.0
#: So many returns in a drive that is over bear the belief out; a halt at the pump looks like one.
RETURNS_A_DRIVE = 2


@dataclass(frozen=True, slots=True)
class AlternatorControl:
    """Returns to charging without a start."""

    returns: int = 0        # in this drive
    drives: int = 0         # drives with several returns, less those with none
    stirred_s: float = -1e9 # last sudden step of the starter by itself
    bustle: float = 0.0     # larger ones of late, none of them up to where alternators charge


def is_controlled(throttle: AlternatorControl) -> bool:
    """Whether this vehicle was seen to let its alternator voltage sink while it drives."""
    return throttle.returns >= RETURNS_TO_BELIEVE or throttle.drives > 0


def is_suspected(throttle: AlternatorControl) -> bool:
    """Whether it may be so: steps of voltage may come from the alternator."""
    return throttle.returns > 0 or throttle.drives > 0


def note_return(throttle: AlternatorControl) -> AlternatorControl:
    """After one more return to charging with no start seen."""
    return replace(throttle, returns=throttle.returns + 1)


def new_drive(throttle: AlternatorControl) -> AlternatorControl:
    """At the first start after a long pause: what the drive before has taught."""
    if throttle.returns >= RETURNS_A_DRIVE:
        return replace(throttle, returns=0, drives=min(throttle.drives + 2, REMEMBERED_DRIVES))
    return replace(throttle, returns=0, drives=max(0, throttle.drives - (throttle.returns == 0)))


def after(throttle: AlternatorControl, last: tuple[Point, ...], never_joined: bool) -> AlternatorControl:
    """With the latest point looked at: has the starter just made a step, and not after the house?"""
    point = last[-1]
    recent = [p for p in last[:-1] if p.at_s > point.at_s - SUDDEN_S - point.span_s] or [last[-2]]
    volts = point.starter_v
    from_p = max(recent, key=lambda p: abs(p.starter_v - volts))
    moved = abs(from_p.starter_v - volts)
    if moved < STIRS_V or (not never_joined and point.house_v is not None and from_p.house_v is not None
                           and moved < abs(from_p.house_v - point.house_v)):
        return throttle
    since_s, returns, bustle = point.at_s - throttle.stirred_s, throttle.returns, throttle.bustle
    if moved > BUSTLE_V and max(volts, from_p.starter_v) < BUSTLE_BELOW_V and since_s > BUSTLE_APART_S:
        bustle = 1 + bustle * exp(-since_s / BUSTLE_FADES_S)
        if bustle > BUSTLE:
            returns, bustle = returns + RETURNS_TO_BELIEVE, 0.0
    return replace(throttle, returns=returns, bustle=bustle, stirred_s=point.at_s)


def is_waiting(throttle: AlternatorControl, at_s: float) -> bool:
    """Whether the alternator of such a vehicle may still be turned down, and the engine run."""
    return is_controlled(throttle) and at_s - throttle.stirred_s < WAIT_S
