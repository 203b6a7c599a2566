"""Findings in plain sentences: written once, for the page, the alert and the terminal."""
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.findings import (
    Answer,
    ChargeFindings,
    Condition,
    Estimate,
    ForecastFindings,
    HealthFindings,
    JoinFindings,
    StarterFindings,
)
from monitor.forecast import tonight_words
from monitor.usage.counts import CountsFindings, Tally

#: A probability in words.
chance = tonight_words.chance
#: A coming moment: one way of saying it on every page.
when = tonight_words.clock
#: Drains below this are the battery's own and a clock's; no sentence names them [A].
QUIET_A = 0.03

BASIS_WORDS = {
    "full charge seen": "counted since the last full charge",
    "empty seen": "counted since it was last empty",
    "rested": "read from its resting voltage",
    "counting": "counted from an uncertain start",
    "measured": "measured",
    "learnt": "learnt from this vehicle's log",
    "label": "taken from the label",
    "first guess": "a first guess",
}
ANCHOR_WORDS = {"full": "counted since the last full charge", "empty": "counted since it was last empty",
                "rest": "read from its resting voltage"}
STAGE_WORDS = {"discharging": "discharging", "charging": "charging", "absorption": "being topped up (absorption)",
               "float": "held full by the charger (float)", "resting": "at rest"}


@dataclass(frozen=True, slots=True)
class Figure:
    """A quantity ready to be printed: value and 95 % interval as text, or why there is none."""

    value: str = ""
    unit: str = ""
    low: str = ""
    high: str = ""
    basis: str = ""
    because: str = ""

    @property
    def known(self) -> bool:
        return not self.because

    @property
    def interval(self) -> str:
        """The interval in brackets, or nothing where it has none."""
        if not self.low:
            return ""
        return f"({self.low}–{self.high})" if self.known and not self.low.startswith("−") else (
            f"({self.low} to {self.high})" if self.known else "")

    def __str__(self) -> str:
        return f"{self.value} {self.unit} {self.interval}".rstrip() if self.known else f"not known yet, because {self.because}"


def figure(answer: Answer, unit: str, digits: int = 0, scale: float = 1.0, least: float | None = None) -> Figure:
    """An answer as text.

    unit : printed behind the value
    digits : decimals of value and interval
    scale : what the SI value is multiplied with first (100 for a percentage)
    least : values below are printed as it (a capacity cannot be negative)
    answer : an estimate, or why there is none

    >>> str(figure(Estimate(0.62, 0.58, 0.66, "counting"), "%", scale=100))
    '62 % (58–66)'
    >>> from monitor.findings import NotYet
    >>> str(figure(NotYet("one night has to pass"), "%"))
    'not known yet, because one night has to pass'
    """
    if not isinstance(answer, Estimate):
        return Figure(because=answer.because)

    def text(value: float) -> str:
        value *= scale
        return number(value if least is None else max(value, least), digits)

    return Figure(text(answer.value), unit, text(answer.low), text(answer.high), BASIS_WORDS[answer.basis])


def number(value: float, digits: int = 0) -> str:
    """A number as text, with a true minus sign and without a minus zero.

    >>> number(-0.04, 1), number(-12.34, 1)
    ('0.0', '−12.3')
    """
    text = f"{value:.{digits}f}"
    return (text.lstrip("-") if float(text) == 0 else text).replace("-", "−")


def capitalise(text: str) -> str:
    """The text with its first letter capital and the rest as it is.

    >>> capitalise("the AGM battery"), capitalise("")
    ('The AGM battery', '')
    """
    return text[:1].upper() + text[1:]


def sentence(clause: object) -> str:
    """A clause, an error's for example, as a whole sentence.

    >>> sentence(ValueError("the log is empty")), sentence("it is well.")
    ('The log is empty.', 'It is well.')
    """
    text = capitalise(str(clause))
    return text if text.endswith(".") else f"{text}."


def span(seconds: float) -> str:
    """A length of time in the unit a person would use.

    >>> span(40), span(2400), span(6 * 3600), span(90 * 3600)
    ('less than a minute', '40 min', '6 h', '4 days')
    """
    seconds = abs(seconds)
    if seconds < 60:
        return "less than a minute"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f} min"
    if seconds < 48 * 3600:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds / 86400:.0f} days"


def basis_words(charge: ChargeFindings) -> str:
    """What the state of charge rests on, with its age."""
    if charge.anchor in ANCHOR_WORDS:
        age = "" if charge.anchor_age_s is None else (
            ", just now" if charge.anchor_age_s < 90 else f", {span(charge.anchor_age_s)} ago")
        return ANCHOR_WORDS[charge.anchor] + age
    if isinstance(charge.charge_frac, Estimate):
        return BASIS_WORDS[charge.charge_frac.basis]
    return ""


def charge_sentence(charge: ChargeFindings) -> str:
    """The house battery in one sentence, or why it cannot be said yet."""
    if not isinstance(charge.charge_frac, Estimate):
        return f"How full the house battery is, is not known yet, because {charge.charge_frac.because}."
    held = f"The house battery holds {figure(charge.charge_frac, '%', scale=100)}"
    if isinstance(charge.usable_left_ah, Estimate):
        left = charge.usable_left_ah
        held += (f", {figure(left, 'Ah', least=0)} of it above the reserve" if left.value > 0.5
                 else ", nothing of it above the reserve")
    basis = basis_words(charge)
    return f"{held}; {basis}." if basis else f"{held}."


def tonight_sentence(forecast: ForecastFindings, hour: float | None = None) -> str:
    """Tonight in one sentence. hour is the local clock hour of the forecast, None where no clock is trusted."""
    return forecast.sentence or f"{tonight_headline(forecast, hour)} {tonight_words.detail(forecast, 1.0, hour)}"


def tonight_headline(forecast: ForecastFindings, hour: float | None = None) -> str:
    """Whether it lasts the night, in at most twelve words."""
    return forecast.headline or forecast.sentence or tonight_words.headline(forecast, 1.0, hour)


def join_sentence(join: JoinFindings) -> str:
    """Are the batteries joined and does the engine run, in one sentence."""
    engine = {"off": "the engine is off", "cranking": "the engine is being started", "running": "the engine runs",
              "unknown": "whether the engine runs is not known"}[join.engine]
    if join.build == "dc_dc":
        text = f"A DC-DC charger stands between the batteries; {engine}"
    else:
        text = {"open": f"The batteries are separate and {engine}", "closed": f"The batteries are connected and {engine}",
                "unknown": f"Whether the batteries are connected is not known; {engine}"}[join.isolator]
    return f"{text}: {join.because}." if join.because and "unknown" in (join.isolator, join.engine) else f"{text}."


def starter_sentence(starter: StarterFindings, join: JoinFindings) -> str:
    """The starter battery in one or two sentences."""
    if join.isolator == "closed":
        return "The starter battery is connected to the house battery; its own state shows once they are separate again."
    if not isinstance(starter.rest_voltage_v, Estimate):
        return f"The starter battery's state is not known yet, because {starter.rest_voltage_v.because}."
    level = ""
    if isinstance(starter.charge_frac, Estimate):
        level = f", {figure(starter.charge_frac, '%', scale=100)} charged"
    text = f"The starter battery rests at {number(starter.rest_voltage_v.value, 2)} V{level}"
    drain = starter.drain_a
    if isinstance(drain, Estimate):
        milli = figure(drain, "mA", scale=1000, least=0)
        if drain.low > QUIET_A:
            text += f", with a drain of {milli} while parked"
        elif drain.high > 2 * QUIET_A:
            text += f"; its drain is not certain, {milli.low} to {milli.high} mA"
        else:
            text += "; no drain found"
    if starter.doubtful_after_s is not None:
        text += f". Parked like this it should start the engine for about {span(starter.doubtful_after_s)}"
    return f"{text}."


def crank_sentence(starter: StarterFindings) -> str:
    """The last start in one sentence."""
    if not isinstance(starter.crank_lowest_v, Estimate):
        return f"How the engine starts is not known yet, because {starter.crank_lowest_v.because}."
    low = f"At the last start the voltage fell to {number(starter.crank_lowest_v.value, 1)} V"
    verdict = {"healthy": "a healthy start", "borderline": "neither healthy nor weak", "weak": "a weak start",
               "failed": "the engine did not take over"}.get(starter.crank_verdict)
    if verdict is None:
        because = getattr(starter.crank_drop_frac, "because", "")
        return f"{low}, the lowest seen; no verdict{f', because {because}' if because else ''}."
    return f"{low}: {verdict}."


def day_sentence(day: Tally, name: str = "Today", because: str = "") -> str:
    """One day's book in one sentence: received by source, spent, and what was not seen.

    day: what was counted; name: what the sentence calls it (Today); because: why nothing is known, "": it is.
    """
    if because:
        return f"What the house battery received and spent is not known, because {because}."
    parts = [f"{number(ah, 1)} Ah from {source}" for source, ah in received_by_source(day) if ah >= 0.05]
    received = " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts) or "nothing"
    text = f"{name} the house battery received {received}, and spent {number(day.spent_ah, 1)} Ah"
    return f"{text}; {span(day.gap_s)} were not seen." if day.gap_s >= 60 else f"{text}."


def received_by_source(day: Tally) -> tuple[tuple[str, float], ...]:
    """Where the day's ampere-hours came from, as (name, Ah)."""
    return (("the sun", day.sun_ah), ("the engine", day.alternator_ah), ("another charger", day.other_ah))


def health_sentence(health: HealthFindings, rated_capacity_ah: float) -> str:
    """Whether the house battery is used up, in one or two sentences."""
    word = {
        "healthy": "The house battery is sound", "watch": "The house battery should be watched",
        "replace": "The house battery is used up and should be replaced",
        "not enough evidence": "Too early to judge the house battery",
    }[health.verdict]
    if not isinstance(health.capacity_frac, Estimate):
        return f"{word}. Its capacity is not known yet, because {health.capacity_frac.because}."
    full = figure(health.capacity_frac, "Ah", scale=rated_capacity_ah, least=0)
    so_far = "Best guess" if health.verdict == "not enough evidence" else "Full, it gives"
    colon = ":" if health.verdict == "not enough evidence" else ""
    return f"{word}. {so_far}{colon} {full} of {number(rated_capacity_ah)} Ah."


def summary(
    charge: ChargeFindings, forecast: ForecastFindings, starter: StarterFindings, join: JoinFindings,
    counts: CountsFindings, active: Sequence[Condition] = (), hour: float | None = None,
) -> tuple[str, ...]:
    """Everything a person asks first, one sentence each: alerts, house, tonight, starter, join, today.

    charge, forecast, starter, join, counts: what the trackers conclude of each; active: what deserves an alert; hour: local clock
    hour, None: not known.
    """
    alerts = tuple(f"{c.seen} {c.means}".strip() for c in active)
    return (*alerts, charge_sentence(charge), tonight_sentence(forecast, hour),
            starter_sentence(starter, join), join_sentence(join), day_sentence(counts.today, because=counts.because))
