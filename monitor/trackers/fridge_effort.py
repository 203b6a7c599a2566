"""Does the fridge run more than the warmth explains: its duty of late against its own past."""
from dataclasses import dataclass, replace

from monitor.findings import Condition
from monitor.trackers import fridge
from monitor.trackers.fridge import Fridge

#: Days that make the baseline, and days that must agree before anything is said.
BASELINE_DAYS, AGREE_DAYS = 10, 4
#: How far above the baseline counts: part of it, and in any case this much duty.
HARDER_FRAC, HARDER_DUTY = 0.30, 0.08


@dataclass(frozen=True, slots=True)
class Effort:
    """Duty at 20 °C of late, the usual one, and for how many days it has been higher."""

    usual: float | None = None
    days: int = 0
    latest: float | None = None
    harder_days: int = 0


def day(effort: Effort, cold: Fridge, number: int) -> Effort:
    """The effort after one more solar day."""
    duty = fridge.duty_frac(cold, 20.0)
    if duty is None or cold.cycles < 12:
        return effort
    if effort.usual is None or effort.days < BASELINE_DAYS:
        usual = duty if effort.usual is None else effort.usual + (duty - effort.usual) / (effort.days + 1)
        return Effort(usual, effort.days + 1, duty, 0)
    harder = duty > effort.usual * (1 + HARDER_FRAC) and duty > effort.usual + HARDER_DUTY
    if harder:
        return replace(effort, latest=duty, harder_days=effort.harder_days + 1)
    # Follows slow change (season, ageing seals would show as a step first) over a month.
    return Effort(effort.usual + 0.03 * (duty - effort.usual), effort.days + 1, duty, 0)


def conditions(effort: Effort, cold: Fridge) -> tuple[Condition, ...]:
    """A low message once some days agree."""
    if effort.usual is None or effort.latest is None:
        return ()
    return (Condition(
        "fridge_working_harder", "house", effort.harder_days >= AGREE_DAYS, "low",
        f"at the same warmth the fridge runs {100 * effort.latest:.0f} % of the time, "
        f"it used to be {100 * effort.usual:.0f} %",
        "it takes more charge to keep cold than it did",
        "is the lid or door closed, the seal clean, the compressor's air free, the fridge iced up or newly filled",
        "it runs as it used to", figures=(("duty_frac", effort.latest), ("usual_duty_frac", effort.usual))),)
