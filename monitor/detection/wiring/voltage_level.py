"""A voltage divider that is set wrong: the levels of a battery that no battery has, by one common factor."""

from monitor.battery.label import Battery
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/wiring", "voltage_level")
ALIVE_V = P.by_chemistry("alive_v")
LIGHT_FRAC, LOW_V, BAND_V = P.number("light_frac"), P.by_chemistry("low_v"), P.by_chemistry("band_v")
DRAWN_FRAC, CHARGED_FRAC, HIGH_FRAC, HIGH_V = P.number("drawn_frac"), P.number("charged_frac"), P.number("high_frac"), P.number("high_v")
MIDDLE_V = P.by_chemistry("middle_v")
CHARGED_V = P.number("charged_v")
REST_FRAC = P.numbers("rest_frac")
LEVEL_FRAC = P.number("level_frac")
ENGINE_V, TIMES, AGREE_V = P.numbers("engine_v"), P.count("times"), P.number("agree_v")
LEAST_PER_H, CALM_MOST_H, LOW_MOST_H = P.number("least_per_h"), P.number("calm_most_h"), P.number("low_most_h")
FULL_REST_V = P.number("full_rest_v")
DIVIDERS = P.numbers("dividers")
ALIKE_PART, NEAR_PART = P.number("alike_part"), P.number("near_part")
#: Ratios of dividers that are taken for each other: (what it is, what it is set to), both to one.
MISTAKES = tuple((a, b) for a in DIVIDERS for b in (1, *DIVIDERS) if a != b)


@dataclass(frozen=True, slots=True)
class VoltageLevel:
    """Charge moved at impossible voltages of the house battery, and impossible levels of the starter battery."""

    drawn_ah: float = 0.0           # since it was last alive, or fell out of the band
    charged_ah: float = 0.0
    low_h: float = 0.0              # under light loads
    low_v: float = 0.0              # mean, least and most voltage meanwhile
    least_v: float = 0.0
    most_v: float = 0.0
    high_ah: float = 0.0
    high_v: float = 0.0
    rest_v: float = 0.0             # latest level of the starter battery without an engine, 0: none
    times: int = 0
    level_v: float = 0.0            # impossible engine's level
    calm_h: float = 0.0             # hours in which the house voltage was possible again


def house(state: VoltageLevel, voltage_v: float, current_a: float, hours: float, battery: Battery) -> VoltageLevel:
    """The means of some minutes more.

    state: what was kept after the minute before; voltage_v: at its posts [V]; current_a: into the battery [A]; hours: how long
    they last [h]; battery: its label.
    """
    rated = battery.rated_capacity_ah
    if voltage_v <= ALIVE_V[battery.lead_acid]:
        return _low(state, voltage_v, current_a, hours, battery)
    drawn = -current_a * hours if current_a < -LEAST_PER_H * rated else 0.0
    if drawn and voltage_v > HIGH_V:
        high = min(state.high_ah + drawn, rated)
        return replace(state, high_ah=high, high_v=state.high_v + (voltage_v - state.high_v) * drawn / high, calm_h=0.0)
    if not (state.low_h or state.drawn_ah or state.charged_ah or state.high_ah):
        return state
    calm = state.calm_h + hours if drawn else state.calm_h
    high_ah = 0.0 if calm > CALM_MOST_H else state.high_ah
    return replace(state, drawn_ah=0.0, charged_ah=0.0, low_h=0.0, low_v=0.0, calm_h=calm, high_ah=high_ah)


def _low(state: VoltageLevel, voltage_v: float, current_a: float, hours: float, battery: Battery) -> VoltageLevel:
    rated_ah = battery.rated_capacity_ah
    drawn, charged = state.drawn_ah + max(-current_a * hours, 0.0), state.charged_ah + max(current_a * hours, 0.0)
    if not -LIGHT_FRAC * rated_ah < current_a < -LEAST_PER_H * rated_ah:
        return replace(state, drawn_ah=drawn, charged_ah=charged, calm_h=0.0)
    if not state.low_h or max(state.most_v, voltage_v) - min(state.least_v, voltage_v) > BAND_V[battery.lead_acid]:
        return replace(state, drawn_ah=0.0, charged_ah=0.0, low_h=hours, low_v=voltage_v, least_v=voltage_v, most_v=voltage_v, calm_h=0.0)
    low_h = min(state.low_h + hours, LOW_MOST_H)
    return replace(state, drawn_ah=drawn, charged_ah=charged, low_h=low_h, low_v=state.low_v + (voltage_v - state.low_v) * hours / low_h,
                   least_v=min(state.least_v, voltage_v), most_v=max(state.most_v, voltage_v), calm_h=0.0)


def starter(state: VoltageLevel, voltage_v: float, low_v: float, high_v: float, house_v: float | None = None) -> VoltageLevel:
    """Ten minutes of the starter battery more: mean, lowest and highest.

    Two instruments that agree are both right: joined, a charger that compensates for hard frost lifts both batteries.

    state: what was kept after the minute before; voltage_v: at its posts [V]; low_v: lowest voltage [V]; high_v: highest
    voltage [V]; house_v: mean of the house battery meanwhile [V], None: not measured.
    """
    if high_v - low_v > LEVEL_FRAC * voltage_v:
        return state
    rest = state.rest_v
    if rest and REST_FRAC[0] <= rest / voltage_v <= REST_FRAC[1]:   # an engine's level
        least, most = ENGINE_V
        agrees = house_v is not None and abs(house_v - voltage_v) < AGREE_V
        if not agrees and (voltage_v < least or voltage_v > most and rest > FULL_REST_V):
            return replace(state, times=state.times + 1, level_v=voltage_v)
        return replace(state, times=0) if state.times else state
    return replace(state, rest_v=voltage_v)


def house_factor(state: VoltageLevel, battery: Battery) -> float | None:
    """What the house voltage must be multiplied by, roughly; None where nothing is wrong."""
    middle, rated = MIDDLE_V[battery.lead_acid], battery.rated_capacity_ah
    lead = battery.lead_acid
    if state.drawn_ah > DRAWN_FRAC * rated and state.charged_ah > CHARGED_FRAC * rated and 0.0 < state.low_v < LOW_V[lead]:
        return middle / state.low_v
    return middle / state.high_v if state.high_ah > HIGH_FRAC * rated else None


def starter_factor(state: VoltageLevel) -> float | None:
    """The same of the starter voltage."""
    return CHARGED_V / state.level_v if state.times >= TIMES else None


def find_mistake(factor: float) -> tuple[float, str]:
    """The likeliest factor near this one, and the ratios that are taken for each other so.

    >>> find_mistake(1.24)
    (1.25, '5:1 set as 4:1')
    """
    real, wrong = min(MISTAKES, key=lambda pair: (round(abs(pair[0] / pair[1] / factor - 1.0) / ALIKE_PART), pair[0] + pair[1]))
    if abs(real / wrong / factor - 1.0) > NEAR_PART:
        return round(factor, 2), ""
    return real / wrong, f"{real}:1 set as {wrong}:1"
