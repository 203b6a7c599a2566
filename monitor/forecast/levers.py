"""What closes the gap of tonight: a drive, a load to shed, or nothing; each with what it does to the odds."""
from collections.abc import Sequence

from monitor.forecast.night import Scenario
from monitor.parameters import table

P = table("forecast", "levers")
SAFE = P.number("safe")


def levers(
    made: Sequence[Scenario], correct, loads: Sequence[tuple[str, float]], drive_a: float | None,
) -> tuple[tuple[str, float], ...]:
    """Sentences, each with the probability of reaching the reserve if one does it.

    made : the possible nights
    correct : turns a share of paths into a probability
    loads : what could be left off until the sun is back: what it is called, its mean current [A]
    drive_a : charging current seen on this vehicle while driving [A], None: never seen
    """
    if not made:
        return ()
    share = sum(path.lowest_ah < 0 for path in made) / len(made)
    if correct(share) < SAFE:
        return (("Nothing needs doing.", correct(share)),)
    need_ah = _need_ah(made)
    found: list[tuple[str, float]] = []
    if drive_a is not None and drive_a > 0.5:
        minutes = max(5 * round(need_ah / drive_a * 60 / 5 + 0.49), 5)
        if minutes <= 240:
            got = drive_a * minutes / 60
            found.append((f"Drive {minutes} minutes: it brings about {got:.0f} Ah at the {drive_a:.0f} A seen on "
                          "this vehicle.", correct(_share(made, got, 0.0))))
    for name, amperes in loads:
        if amperes >= 0.1:
            found.append((f"Leave {name} off from now until the sun is back: {amperes:.1f} A less.",
                          correct(_share(made, 0.0, amperes))))
    less_a = _less_a(made)
    if less_a is not None:
        found.append((f"Take {less_a:.1f} A less from now until the sun is back.",
                      correct(_share(made, 0.0, less_a))))
    return tuple(found)


def _share(made: Sequence[Scenario], ah: float, amperes: float) -> float:
    return sum(path.lowest_ah + ah + amperes * path.lowest_at_h < 0 for path in made) / len(made)


def _need_ah(made: Sequence[Scenario]) -> float:
    short = sorted(path.lowest_ah for path in made)
    return max(-short[int(SAFE * 0.75 * len(short))], 0.0)


def _less_a(made: Sequence[Scenario]) -> float | None:
    """Amperes less that make the night safe, None where the time is too short for that."""
    amperes = 0.1
    while amperes < 5.0:
        if _share(made, 0.0, amperes) < 0.75 * SAFE:
            return amperes
        amperes *= 1.25
    return None
