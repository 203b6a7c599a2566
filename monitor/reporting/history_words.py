"""Batteries one after another, as the terminal, the page and the report print them."""
from monitor.battery.label import KIND_WORDS
from monitor.reporting.sentences import number
from monitor.wear.battery_history import BatteryService, Comparison

HEADINGS = ("label, Ah", "weeks", "capacity, Ah", "resistance, mΩ", "taken out, Ah", "full cycles", "lowest", "weeks with a full charge")


def name(life: BatteryService) -> str:
    """What a battery is called: the owner's label, else what it is.

    >>> name(BatteryService("house", "", "agm", 100.0))
    'AGM, 100 Ah'
    """
    return life.label or f"{KIND_WORDS[life.chemistry]}, {life.rated_capacity_ah:g} Ah"


def figures(one: Comparison) -> tuple[str, ...]:
    """A row under HEADINGS; a dash for what was not to be had."""
    share = "–" if one.weeks_with_full_frac is None else f"{number(100 * one.weeks_with_full_frac)} %"
    return (f"{one.life.rated_capacity_ah:g}", str(one.weeks), _change(one.first_capacity_ah, one.last_capacity_ah, 1.0, 0),
            _change(one.first_resistance_ohm, one.last_resistance_ohm, 1000.0, 1), number(one.charge_out_ah),
            number(one.full_cycles_count, 1),
            "–" if one.lowest_frac is None or not one.weeks else f"{number(100 * one.lowest_frac)} %", share)


def _change(first: float | None, last: float | None, scale: float, digits: int) -> str:
    if first is None or last is None:
        return "–"
    return f"{number(first * scale, digits)} → {number(last * scale, digits)}"
