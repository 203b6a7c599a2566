"""Does the fridge run more than the warmth explains: its duty of late against its own past."""

from monitor.findings import Condition
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage import fridge
from monitor.usage.fridge import LEAST_DUTY, Fridge

P = table("usage", "fridge_effort")
BASELINE_DAYS, AGREE_DAYS = P.count("baseline_days"), P.count("agree_days")
HARDER_FRAC, HARDER_DUTY = P.number("harder_frac"), P.number("harder_duty")
FOLLOWS = P.number("follows")
LEAST_CYCLES = P.count("least_cycles")


@dataclass(frozen=True, slots=True)
class Effort:
    """The usual duty and its warmth; the latest duty beside what is usual at the warmth of now; days above that."""

    usual: float | None = None
    usual_c: float = 0.0            # of no use while there is no usual duty
    days: int = 0
    latest: float | None = None
    expected: float | None = None
    harder_days: int = 0


def day(effort: Effort, cold: Fridge) -> Effort:
    """The effort after one more solar day.

    Without a thermometer there is no verdict: a fridge in a hot week does run more.
    """
    duty, warm_c = fridge.duty_frac(cold), fridge.warmth_c(cold)
    if duty is None or warm_c is None or cold.cycles < LEAST_CYCLES:
        return effort
    if effort.usual is None:
        return Effort(duty, warm_c, 1, duty, duty)
    # The latest duty is moved to the usual warmth by its own slope: a seal that leaks steepens both alike.
    slope, _ = fridge.duty_per_k(cold)
    colder_k = effort.usual_c - warm_c
    moved = min(max(duty + slope * colder_k, LEAST_DUTY), 1.0)
    above = moved - effort.usual
    latest = replace(effort, latest=duty, expected=min(duty * effort.usual / moved, 1.0))
    learning = effort.days < BASELINE_DAYS
    if not learning and above > max(HARDER_FRAC * effort.usual, HARDER_DUTY):
        return replace(latest, harder_days=effort.harder_days + 1)
    gain = 1 / (effort.days + 1) if learning else FOLLOWS
    usual = min(max(effort.usual * (1 - slope * gain * colder_k / moved) + gain * above, LEAST_DUTY), 1.0)
    return replace(latest, usual=usual, usual_c=effort.usual_c - gain * colder_k, days=effort.days + 1, harder_days=0)


def conditions(effort: Effort) -> tuple[Condition, ...]:
    """A low message once some days agree."""
    if effort.latest is None or effort.expected is None:
        return ()
    return (Condition(
        "fridge_working_harder", "house", effort.harder_days >= AGREE_DAYS, "low",
        f"The fridge runs {100 * effort.latest:.0f} % of the time, usually {100 * effort.expected:.0f} %.",
        "It takes more charge to keep cold than it did.",
        "Is the lid or door closed, the seal clean, the compressor's air free, the fridge iced up or newly filled?",
        "It clears when it runs as it used to.", evidence="Both at the same temperature around it.",
        figures=(("duty_frac", effort.latest), ("usual_duty_frac", effort.expected))),)
