"""What a person can do about tonight: use less, rest the fridge, drive; the smallest act first, each with the risk left."""
from collections.abc import Sequence

from monitor.forecast.night import Scenario
from monitor.forecast.tonight_words import clock
from monitor.parameters import table

P = table("forecast", "levers")
SAFE, GOAL = P.number("safe"), P.number("goal")
DRIVE_ALONE_MIN, DRIVE_LONGEST_MIN = P.number("drive_alone_min"), P.number("drive_longest_min")
LESS_PART, LEAST_A = P.number("less_part"), P.number("least_a")
SOON_S = P.number("soon_s")
MAINS_EFFORT, LEAST_EFFORT = P.number("mains_effort"), P.number("least_effort")
DRIVE_ROUND_MIN, ROUND_UP = P.count("drive_round_min"), P.number("round_up")
FALLS_H, LESS_STEP = P.number("falls_h"), P.number("less_step")

#: The lever that asks for nothing.
NOTHING = "Nothing to do."


def levers(
    made: Sequence[Scenario], correct, loads: Sequence[tuple[str, float]], drive_a: float | None, hour: float | None = None,
    usable_ah: float = 0.0, by_s: float | None = None,
) -> tuple[tuple[str, float], ...]:
    """Sentences, each with the probability of reaching the mark if one does it; the smallest act first.

    made : the possible nights
    correct : turns a share of paths into a probability
    loads : what could be left off until the sun is back: what it is called, its mean current [A]
    drive_a : charging current seen on this vehicle while driving [A], None: never seen
    hour : local clock hour now, None where no clock is trusted
    usable_ah : charge above the mark now [Ah]
    by_s : until when charge has to be back in, at the soonest [s from now], None: not known
    """
    if not made:
        return ()
    share = sum(path.lowest_ah < 0 for path in made) / len(made)
    if correct(share) < SAFE:
        return ((NOTHING, correct(share)),)
    sun_h = sorted(path.sun_at_h if path.sun_at_h is not None else path.lowest_at_h for path in made)[len(made) // 2]
    found: list[tuple[float, str, float]] = []     # how much is asked (1: all of it), sentence, probability
    used_a = _used_a(made, usable_ah)
    # where nothing is drawn, nothing can be used less
    less_a = _less_a(made, LESS_PART * used_a)
    if less_a is not None:
        found.append((less_a / used_a, f"Use {less_a:.1f} A less until {_sun(sun_h, hour)}.", correct(_share(made, 0.0, less_a))))
    for name, amperes in loads:
        if used_a >= LEAST_A and amperes >= LEAST_A:
            found.append(_rest(made, correct, name, amperes, sun_h, hour, used_a))
    drive = _drive(made, correct, drive_a, hour, by_s)
    if drive is not None:
        found.append(drive)
    if not any(p < SAFE and text != (drive or ("", ""))[1] for _, text, p in found):
        # a long drive is never the only way out
        said = f"Charge about {max(_need_ah(made), 1.0):.0f} Ah{_in_time(by_s, SOON_S, hour)}, from mains or any charger."
        found.append((MAINS_EFFORT, said, correct(_share(made, _need_ah(made), 0.0))))
    return tuple((text, p) for _, text, p in sorted(found, key=lambda one: (one[2] >= SAFE, one[0])))


def _rest(made: Sequence[Scenario], correct, name: str, amperes: float, sun_h: float, hour: float | None,
          used_a: float) -> tuple[float, str, float]:
    """A load left off from as late as still does it, or from now on."""
    from_h = 0.0
    if _share(made, 0.0, amperes) < GOAL:
        while from_h + 1.0 < sun_h and _share(made, 0.0, amperes, from_h + 1.0) < GOAL:
            from_h += 1.0
    since = "from now" if from_h == 0.0 else f"in about {from_h:.0f} h" if hour is None else f"from {clock(from_h * 3600, hour)}"
    effort = amperes / used_a * (1 - from_h / max(sun_h, 1.0)) + LEAST_EFFORT
    return effort, f"Switch {name} off {since} until {_sun(sun_h, hour)}.", correct(_share(made, 0.0, amperes, from_h))


def _drive(made: Sequence[Scenario], correct, drive_a: float | None, hour: float | None,
           by_s: float | None) -> tuple[float, str, float] | None:
    if drive_a is None:
        return None
    minutes = max(DRIVE_ROUND_MIN * round(_need_ah(made) / drive_a * 60 / DRIVE_ROUND_MIN + ROUND_UP), DRIVE_ROUND_MIN)
    if minutes > DRIVE_LONGEST_MIN:
        return None
    in_time = _in_time(by_s, 60.0 * minutes, hour)
    asks = 1.0 + minutes / DRIVE_ALONE_MIN     # a drive comes after everything that can be done in the vehicle
    return asks, f"Drive {minutes} minutes{in_time}.", correct(_share(made, drive_a * minutes / 60, 0.0))


def _sun(sun_h: float, hour: float | None) -> str:
    """When the sun is back, by the clock where there is one."""
    return "the sun is back" if hour is None else clock(sun_h * 3600, hour)


def _in_time(by_s: float | None, takes_s: float, hour: float | None) -> str:
    """By when it has to be done, where there is time enough."""
    if by_s is None or by_s <= takes_s:
        return ""
    return f" within about {by_s / 3600:.0f} h" if hour is None else f" before {clock(by_s, hour)}"


def _share(made: Sequence[Scenario], ah: float, amperes: float, from_h: float = 0.0) -> float:
    return sum(path.lowest_ah + ah + amperes * max(path.lowest_at_h - from_h, 0.0) < 0 for path in made) / len(made)


def _used_a(made: Sequence[Scenario], usable_ah: float) -> float:
    """The mean current out of the battery until its lowest point [A], 0 where it does not fall."""
    falls = [(usable_ah - path.lowest_ah) / path.lowest_at_h for path in made if path.lowest_at_h > FALLS_H]
    return sum(falls) / len(falls) if falls else 0.0


def _need_ah(made: Sequence[Scenario]) -> float:
    short = sorted(path.lowest_ah for path in made)
    return max(-short[int(GOAL * len(short))], 0.0)


def _less_a(made: Sequence[Scenario], most_a: float) -> float | None:
    """Amperes less, at most so many, that make the night safe; None where these are not enough."""
    amperes = LEAST_A
    while amperes <= most_a:
        if _share(made, 0.0, amperes) < GOAL:
            return amperes
        amperes *= LESS_STEP
    return None
