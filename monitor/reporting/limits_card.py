"""The limits of a battery as a card for a page: what it bears, in words, from the one table of limits."""
from monitor.battery.frost import density_of_kg_l, freezing_point_c
from monitor.battery.label import Battery
from monitor.battery.limits import ageing_ratio, alternator_over_voltage_v, held_voltage_v, limits_of, over_voltage_v
from monitor.reporting.sentences import number

#: In sight of every limit.
CAUTION = ("For batteries of this kind in general. The label and data of yours, the vehicle's handbook, local codes and a licensed "
           "electrician have the last word.")
#: label, value, note
Row = tuple[str, str, str]


def rows(battery: Battery, temperature_c: float | None, *, thermometer: bool = True) -> list[Row]:
    """What a battery bears, as (label, value, note).

    battery : house or starter
    temperature_c : of the battery now, None where not known: then the figures are for 25 °C
    thermometer : there is one on the battery
    """
    limits = limits_of(battery.chemistry)
    most_v = alternator_over_voltage_v if battery.name == "starter" else over_voltage_v
    temperature_c = 25.0 if temperature_c is None else temperature_c
    at = f"at {_degrees(temperature_c)}"
    found: list[Row] = [
        ("Charge for hours at up to", f"{number(held_voltage_v(battery, temperature_c) - limits.voltmeter_margin_v, 1)} V",
         f"{at}, by its kind"),
        ("Never above", f"{number(most_v(battery, temperature_c), 1)} V", at),
        ("Discharge does damage below", f"{number(limits.deep_discharge_v, 1)} V", "then charge slowly, and see that it stays cool"),
    ]
    low, high = ageing_ratio(limits, limits.hot_c)
    found.append(("Too hot above", f"{number(limits.hot_c)} °C", f"there it ages {number(low, 1)} to {number(high, 1)} times as fast as at "
                  f"25 °C; no charging above {number(limits.hot_high_c)} °C"))
    if limits.cold_charge_c is not None:
        found.append(("No charging below", f"{number(limits.cold_charge_c)} °C",
                      f"slowly below {number(limits.slow_below_c or 0.0)} °C; warned from "
                      f"{number(limits.cold_charge_c + (limits.cold_margin_k or 0.0))} °C on, for where the sensor sits" if thermometer else
                      "there is no thermometer on the battery: ampledger cannot warn"))
    else:
        full, half, empty = (freezing_point_c(density_of_kg_l(battery, z)) for z in (1.0, 0.5, 0.0))
        found.append(("Freezes, full / half / empty", f"{number(full)} / {number(half)} / {number(empty)} °C",
                      "emptied further, just below zero; never charge it frozen"))
    found.append(("Charge it full at least every", f"{number(limits.never_full_days)} days",
                  "else it sulphates" if battery.lead_acid else "else its cells drift apart"))
    return found


def _degrees(temperature_c: float) -> str:
    return f"{number(temperature_c)} °C"
