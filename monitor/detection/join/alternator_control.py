"""Whether the alternator is under engine control: let sink and lifted again while the engine runs."""
from math import exp

from monitor.detection.join.points import Point
from monitor.findings import NEVER_S
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/join", "alternator_control")
ALTERNATOR = table("battery", "alternator")
RETURN_S = P.number("return_s")
RETURNS_TO_BELIEVE, REMEMBERED_DRIVES = P.count("returns_to_believe"), P.count("remembered_drives")
WAIT_S = P.number("wait_s")
STIRS_V, SUDDEN_S = P.number("stirs_v"), P.number("sudden_s")
BUSTLE_V = P.number("bustle_v")
BUSTLE_BELOW_V = ALTERNATOR.number("charging_v")
BUSTLE_APART_S = P.number("bustle_apart_s")
BUSTLE = P.number("bustle")
BUSTLE_FADES_S = P.number("bustle_fades_s")
RETURNS_A_DRIVE = P.count("returns_a_drive")


@dataclass(frozen=True, slots=True)
class AlternatorControl:
    """Returns to charging without a start."""

    returns: int = 0        # in this drive
    drives: int = 0         # drives with several returns, less those with none
    stirred_s: float = NEVER_S # last sudden step of the starter by itself
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


def begin_drive(throttle: AlternatorControl) -> AlternatorControl:
    """At the first start after a long pause: what the drive before has taught."""
    if throttle.returns >= RETURNS_A_DRIVE:
        return replace(throttle, returns=0, drives=min(throttle.drives + 2, REMEMBERED_DRIVES))
    return replace(throttle, returns=0, drives=max(0, throttle.drives - (throttle.returns == 0)))


def update(throttle: AlternatorControl, last: tuple[Point, ...], never_joined: bool) -> AlternatorControl:
    """With the latest point looked at: has the starter just made a step, and not after the house?

    throttle: what is known of an alternator under engine control; last: the last points; never_joined: whether
    the batteries were never joined in this run.
    """
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
