"""Page Health: is the house battery used up, what says so, and the wear behind it."""
from dashboard import lives_table
from dashboard.log_view import LogView
from dashboard.words import clock_text
from monitor.findings import HealthFindings
from monitor.reporting import care, limits_card
from monitor.reporting.sentences import Figure, figure, health_sentence, number, sentence, span

Row = tuple[str, Figure, str]
#: Heat, balancing and equalising are looked for so far back [s].
CARE_S = 400 * 86400.0
WEIGHTS = {"decisive": "Decisive", "strong": "Strong, against it", "weak": "Weak, against it",
           "for": "In its favour"}


def build_health(book: LogView) -> dict:
    """Everything the template of page Health needs beside the findings."""
    health = book.known.findings.health
    # the verdict is the headline; the figure behind it, or why there is none, follows
    lead, _, figures = health_sentence(health, book.known.vehicle.house.rated_capacity_ah).partition(". ")
    return {
        "lead": f"{lead}.", "lead_figures": figures,
        "evidence": [(WEIGHTS[line.weight], sentence(line.seen), line.overturned_by) for line in health.lines],
        "house": house_rows(book), "starter": starter_rows(book), "wear": wear_rows(health),
        "care": care.list_care(book.known.vehicle.house, book.care(book.known.utc_s - CARE_S), book.last_full_utc_s(), book.known.utc_s,
                               clock_text),
        "depths": depth_rows(health), "weekly": len(book.weeks()) >= 2,
        "limits": limit_rows(book), "limits_caution": limits_card.CAUTION,
        "batteries": lives_table.rows(book), "battery_headings": lives_table.HEADINGS,
        "tests": lives_table.tests(book),
    }


def house_rows(book: LogView) -> list[Row]:
    """Figures of the house battery."""
    found, rated = book.known.findings, book.known.vehicle.house.rated_capacity_ah
    charge, health = found.charge, found.health
    return [
        ("Capacity now", figure(charge.capacity_ah, "Ah", digits=0, least=0), ""),
        ("Of rated capacity", figure(health.capacity_frac, "%", scale=100, least=0),
         f"rated: {number(rated)} Ah; judged at the end of each week"),
        *_own_words(book),
        ("Inner resistance now", figure(charge.resistance_ohm, "mΩ", digits=1, scale=1000, least=0), ""),
        ("Inner resistance at 25 °C, full", figure(health.resistance_ohm, "mΩ", digits=1, scale=1000, least=0), ""),
        ("Change since first weeks", figure(health.resistance_growth_ratio, "times", digits=2, least=0),
         "from the first week with enough load steps"),
        ("Shunt zero error", figure(charge.current_offset_a, "mA", scale=1000), "includes loads that bypass it"),
    ]


def _own_words(book: LogView) -> list[Row]:
    """What the battery itself told of its size, beside the charge tracker's figure."""
    health, lead = book.known.findings.health, book.known.vehicle.house.lead_acid
    own = figure(health.own_capacity_ah, "Ah", digits=0, least=0)
    rows: list[Row] = [
        ("Estimated from resting voltage", own, "reads high if plates are worn")
        if lead else ("Between full and empty it gave", own, "")]
    if health.at_least_ah >= 1.0:
        rows.append(("Deepest discharge so far", Figure(f"at least {number(health.at_least_ah)}", "Ah"),
                     "the most in two months; not tested deeper"))
    return rows


def starter_rows(book: LogView) -> list[Row]:
    """Figures of the starter battery and the way between both."""
    found = book.known.findings
    return [
        ("Starter battery rests at", figure(found.starter.rest_voltage_v, "V", digits=2), ""),
        ("Drain while parked", figure(found.starter.drain_a, "mA", scale=1000, least=0), ""),
        ("Voltage drop while cranking", figure(found.starter.crank_drop_frac, "%", scale=100), ""),
        ("Isolator and cables", figure(found.join.path_resistance_ohm, "mΩ", digits=1, scale=1000, least=0), ""),
    ]


def wear_rows(health: HealthFindings) -> list[tuple[str, str, str]]:
    """What wears a battery, as (label, value, note)."""
    half, third, fifth = health.low_hours
    rows = [
        ("Charge drawn from it", f"{number(health.charge_out_ah)} Ah",
         f"{number(health.full_cycles_count, 1)} full cycles of rated capacity"),
        ("Time below half", f"{number(half)} h", f"below 30 %: {number(third)} h; below 20 %: {number(fifth)} h"),
        ("Longest without a full charge", span(health.longest_without_full_s), ""),
    ]
    if health.heat_ratio is not None:
        low, high = sorted(health.heat_ratio)
        rows.append(("Ageing rate from temperature", f"{number(low, 2)} to {number(high, 2)}",
                     "1 = at 25 °C, by two published rules"))
    elif health.heat_because:
        rows.append(("Ageing rate from temperature", "not known", f"because {health.heat_because}"))
    rows.append(("Weeks on record", str(health.weeks_count), ""))
    return rows


def limit_rows(book: LogView) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """What each battery bears, as (name, rows of label, value, note)."""
    latest, vehicle = book.latest, book.known.vehicle
    return [
        ("House battery", limits_card.rows(vehicle.house, latest.house_temperature_c, thermometer=latest.house_temperature_c is not None)),
        ("Starter battery", limits_card.rows(vehicle.starter, latest.starter_temperature_c,
                                             thermometer=latest.starter_temperature_c is not None))]


def depth_rows(health: HealthFindings) -> list[tuple[str, str, float]]:
    """Cycles by depth as (depth, count, length of its bar 0 to 1), the empty ones at the deep end left out."""
    counts = list(health.depth_counts)
    while counts and counts[-1] < 0.05:
        counts.pop()
    most = max(counts, default=1.0) or 1.0
    return [(f"{10 * i} to {10 * i + 10} %", number(count, 1), count / most) for i, count in enumerate(counts)]

