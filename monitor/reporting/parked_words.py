"""The parking plan and the account of a stay in plain sentences, for page and terminal."""
from monitor.battery.label import KIND_WORDS
from monitor.planning.parked import ParkedBattery, ParkingPlan, Span
from monitor.planning.parked_return import Loss, Stay
from monitor.reporting.sentences import number, sentence

CAUTION = ("Forecasts by what was measured and by published storage tables; local codes, handbooks and licensed practice have the last "
           "word. A frozen, swollen or leaking battery is neither charged nor started with.")
#: Longer than this is "more than a year": no table reaches further [days].
LONG_DAYS = 365.0


def format_days(span: Span) -> str:
    """The likeliest day of a span in words.

    >>> format_days(Span(12.4, 19.8, 15.0)), format_days(Span(12.4, 900.0, 500.0)), format_days(Span(0.0, 0.0, 0.0))
    ('about 15 days', 'more than a year', 'already')
    """
    if span.high <= 0.5:
        return "already"
    likely = span.low if span.likely is None else span.likely
    if likely > LONG_DAYS:
        return "more than a year"
    return "within a day" if likely < 0.75 else "about a day" if likely < 1.5 else f"about {number(likely)} days"


def format_range(span: Span) -> str:
    """From the soonest to the latest, or nothing where both are beyond a year or past.

    >>> format_range(Span(12.4, 900.0, 500.0))
    '12 days to more than a year'
    """
    if span.low >= LONG_DAYS or span.high <= 0.5:
        return ""
    low = number(span.low) if span.low >= 0.5 else "0"
    return f"{low} days to more than a year" if span.high > LONG_DAYS else f"{low} to {number(span.high)} days"


def format_current(span: Span) -> str:
    """A current in mA, or A where it is large."""
    if span.high >= 1.0:
        return f"{number(span.low, 2)} to {number(span.high, 2)} A"
    low, high = number(1000 * span.low), number(1000 * span.high)
    return f"{high} mA" if low == high else f"{low} to {high} mA"


def list_rows(battery: ParkedBattery) -> list[tuple[str, str, str]]:
    """One battery as rows of (label, value, note)."""
    limit = "Until a start is doubtful" if battery.name == "starter" else "Until its reserve, without sun"
    found = [
        ("Loads draw", format_current(battery.drain_a), ""),
        ("It loses by itself", format_current(battery.self_discharge_a), "published range for its kind"),
        (f"Down to {number(100 * battery.refresh_at_frac)} %", format_days(battery.refresh_days),
         _join(format_range(battery.refresh_days), "charge it again then")),
        (limit, format_days(battery.limit_days), _join(format_range(battery.limit_days), f"at {number(100 * battery.limit_frac)} %")),
        ("Leave it at", "full" if battery.leave_at_frac >= 1 else f"about {number(100 * battery.leave_at_frac)} %",
         f"{KIND_WORDS[battery.chemistry]}; look every {number(battery.look_every_days)} days"),
    ]
    if battery.freezes_now_c is not None and battery.freezes_then_c is not None:
        found.append(("Its acid freezes at", f"{number(battery.freezes_now_c)} °C",
                      f"{number(battery.freezes_then_c)} °C at {number(100 * battery.limit_frac)} %"))
    return found


def _join(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def describe_plan(plan: ParkingPlan) -> str:
    """The sentence that stands on top."""
    starter = next((b for b in plan.batteries if b.name == "starter"), None)
    if starter is None:
        return "How long it may stand is not known yet."
    if starter.limit_days.low <= 0.5:
        return "The starter battery should be charged before it is left."
    stay, days = 7 * plan.weeks, starter.limit_days
    if days.low >= stay:
        return f"Left like this it should start after {format_weeks(plan.weeks)}."
    if days.likely is not None and days.likely >= stay:
        return (f"Left like this it will probably start after {format_weeks(plan.weeks)}; "
                f"at worst a start is doubtful after {number(days.low)} days.")
    return f"Left like this, a start is probably doubtful after {format_days(days)}."


def format_weeks(weeks: float) -> str:
    """A stay in words."""
    return f"{number(7 * weeks)} days" if weeks < 2 else f"{number(weeks)} weeks"


def describe_loss(loss: Loss, days: float) -> str:
    """One battery's account in a sentence or two."""
    name = loss.name.capitalize()
    if loss.note and loss.name == "starter":
        return f"{name} battery: {loss.note}."
    text = f"{name} battery: lost {_ah(loss.lost_ah)}. "
    if loss.name == "house":
        text += (f"Loads took {format_current(loss.drain_a)} on average ({number(loss.drain_a.high * 24 * days, 1)} Ah, counted), "
                 f"its own loss was {_ah(loss.own_ah)} by the tables.")
        if loss.received_ah > 0.5:
            text += f" {number(loss.received_ah, 1)} Ah came in meanwhile."
    else:
        text += f"Its own loss explains {_ah(loss.own_ah)}; "
        text += ("that is all of it: no drain is seen." if loss.drain_a.high < 0.005 else
                 f"loads took {format_current(loss.drain_a)}." if loss.drain_a.low > 0.002 else
                 f"loads took no more than {number(1000 * loss.drain_a.high)} mA, perhaps nothing.")
    return text + (f" ({sentence(loss.note)})" if loss.note else "")


def _ah(span: Span) -> str:
    low, high = number(span.low, 1), number(span.high, 1)
    return f"{high} Ah" if low == high else f"{low} to {high} Ah"


def describe_stay(stay: Stay) -> list[str]:
    """The account of the latest stay."""
    days = (stay.to_utc_s - stay.from_utc_s) / 86400
    if not stay.losses:
        return [f"It stood for {number(days, 1)} days; what the batteries lost is not known."]
    return [f"It stood for {number(days, 1)} days at {number(stay.temperature_c)} °C on average.",
            *(describe_loss(loss, days) for loss in stay.losses)]
