"""From engine and sun into the battery: what the source gives, what the cable leaves of it, and what the battery takes.

Sources
-------
[1] Woodbridge, Trans. AIEE 54 (1935) 516, and Vinal, Storage Batteries: ampere-hour law, at constant voltage what a lead-acid battery
    misses dies away towards its end. Schiffer et al., J. Power Sources 168 (2007) 66: what hinders charging grows as charge over what
    is missing, so that a deeply empty battery takes more than that law says.
[2] IEC 60228 and IEC 60949 through monitor/circuits: resistance of the cable, warm.
"""
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from random import Random
from typing import Literal

from monitor.battery import lead_acid, lithium_iron
from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.circuits import conductor
from monitor.circuits.tables import SIZES
from monitor.findings import Estimate
from monitor.parameters import table

P, CELL = table("planning", "charging"), table("battery", "lithium_cell")
ACCEPTANCE_H, ACCEPTANCE_SIGMA, ACCEPTANCE_V = P.number("acceptance_h"), P.sigma("acceptance_h"), P.number("acceptance_v")
DOUBLES_K, LEAD_OHM_AH = P.number("acceptance_doubles_k"), P.number("resistance_ohm_ah")
LITHIUM_OHM_AH, LITHIUM_RATE = CELL.number("resistance_ohm_ah"), P.number("lithium_rate_per_h")
ALTERNATOR_V, ALTERNATOR_SIGMA, PER_K = P.number("alternator_v"), P.sigma("alternator_v"), P.number("alternator_per_k")
BAY_K, BAY_SIGMA = P.number("bay_k"), P.sigma("bay_k")
SPARE_A, SPARE_SIGMA = P.number("spare_a"), P.sigma("spare_a")
CONTACT_OHM, CONTACT_SIGMA = P.number("contact_ohm"), P.sigma("contact_ohm")
MANAGED, DCDC_SHARE = P.number("managed_share"), P.number("dcdc_share")
COPPER_C, BELOW_UPPER_V = P.number("copper_c"), P.number("below_upper_v")
#: Steps of an hour in which acceptance is followed [1]; places of the tables of charge.
PARTS, STEPS = P.count("parts"), P.count("charge_steps")
DRAWS, LONGEST_H, STEP_H = P.count("draws"), P.number("longest_h"), P.number("step_h")

Kind = Literal["relay", "dcdc", "none"]


@dataclass(frozen=True, slots=True)
class EnginePath:
    """How the engine charges the house battery.

    kind : relay (both batteries joined while it runs), dcdc (a charger), none
    length_m : of the cable ONE way [m]; area_mm2 : its cross-section; rating_a : of the DC-DC charger [A]
    spare_a : what the alternator has left [A], None: usual; managed : under engine control
    """

    kind: Kind = "none"
    length_m: float = 5.0
    area_mm2: float = 16.0
    rating_a: float = 30.0
    spare_a: float | None = None
    managed: bool = False


@dataclass(frozen=True, slots=True)
class Luck:
    """What is not known of one vehicle, as factors and differences; the middle of each is 1 or 0."""

    acceptance: float = 1.0
    alternator_v: float = 0.0
    bay_k: float = 0.0
    spare: float = 1.0
    contact: float = 1.0


def draw_luck(chance: Random) -> Luck:
    """One vehicle's alternator, contacts and acceptance."""
    return Luck(exp(chance.gauss(0, ACCEPTANCE_SIGMA)), chance.gauss(0, ALTERNATOR_SIGMA), chance.gauss(0, BAY_SIGMA),
                exp(chance.gauss(0, SPARE_SIGMA)), exp(chance.gauss(0, CONTACT_SIGMA)))


def absorption_v(chemistry: Chemistry) -> float:
    """What a charger set for this kind holds at 25 °C [V]."""
    return limits_of(chemistry).charge_upper_v - BELOW_UPPER_V


def electromotive_v(chemistry: Chemistry, charge_frac: float) -> float:
    """What the battery sets against a charger at rest [V].

    chemistry: its kind; charge_frac: charge left, 0 to 1.
    """
    if chemistry == "lfp":
        return lithium_iron.rest_voltage_v(charge_frac, 1.0)
    return lead_acid.rest_voltage_v(lead_acid.KINDS[chemistry], charge_frac)


def accepted_a(chemistry: Chemistry, capacity_ah: float, charge_frac: float, source_v: float, path_ohm: float = 0.0,
               temperature_c: float = 25.0, luck: Luck = Luck()) -> float:     # noqa: B008 - frozen
    """What a battery takes from a source of constant voltage behind a cable [A].

    Lead-acid is a resistance that grows as charge over what is missing [1]: near full, at 2.4 V a cell, it takes what is missing over
    the acceptance time; deeply empty, what its own resistance lets through; all of it less in the cold. Lithium takes what resistance
    lets through, up to half its capacity an hour, and nothing below its limit of cold.

    chemistry: its kind; capacity_ah: what it holds [Ah]; charge_frac: charge in it, 0 to 1; source_v: of the source [V]; path_ohm:
    cable and contacts [ohm]; temperature_c: of the battery [°C]; luck: what is not known.
    """
    rest_v = electromotive_v(chemistry, charge_frac)
    if source_v <= rest_v or charge_frac >= 1:
        return 0.0
    if chemistry == "lfp":
        cold_c = limits_of(chemistry).cold_charge_c
        if cold_c is not None and temperature_c < cold_c:
            return 0.0
        return min((source_v - rest_v) / (path_ohm + LITHIUM_OHM_AH / capacity_ah), LITHIUM_RATE * capacity_ah)
    cold = 2 ** (max(lead_acid.REFERENCE_C - temperature_c, 0.0) / DOUBLES_K)
    full_v = electromotive_v(chemistry, 1.0)
    hinder_ohm_ah = (ACCEPTANCE_V - full_v) * ACCEPTANCE_H * luck.acceptance * max(charge_frac, 0.0) / (1 - charge_frac)
    return (source_v - rest_v) / (path_ohm + cold * (hinder_ohm_ah + LEAD_OHM_AH) / capacity_ah)


def cable_ohm(path: EnginePath) -> float:
    """Cable of a charging path, out and back, warm [ohm]."""
    size = min(SIZES["metric"], key=lambda one: abs(one.area_mm2 - path.area_mm2))
    return conductor.loop_ohm(size, path.length_m, COPPER_C) * size.area_mm2 / path.area_mm2


def alternator_v(air_c: float, luck: Luck = Luck()) -> float:                  # noqa: B008 - frozen
    """What a plain alternator holds while driving [V].

    air_c: outside [°C]; luck: what is not known.
    """
    return ALTERNATOR_V + luck.alternator_v + PER_K * (air_c + BAY_K + luck.bay_k - 25)


def engine_a(path: EnginePath, chemistry: Chemistry, capacity_ah: float, charge_frac: float, air_c: float,
             luck: Luck = Luck()) -> float:                                   # noqa: B008 - frozen
    """What goes into the battery while the engine drives [A], loads apart; mean over the driving.

    path: relay or charger; chemistry, capacity_ah: of the battery [Ah]; charge_frac: charge in it, 0 to 1; air_c: outside, and where the
    battery stands [°C]; luck: what is not known.
    """
    if path.kind == "none":
        return 0.0
    spare = (path.spare_a or SPARE_A) * luck.spare
    if path.kind == "dcdc":
        taken = accepted_a(chemistry, capacity_ah, charge_frac, absorption_v(chemistry), 0.0, air_c, luck)
        return min(taken, path.rating_a, spare) * DCDC_SHARE
    taken = accepted_a(chemistry, capacity_ah, charge_frac, alternator_v(air_c, luck), cable_ohm(path) + CONTACT_OHM * luck.contact,
                       air_c, luck)
    return min(taken, spare) * (MANAGED if path.managed else 1.0)


def source_a(path: EnginePath, luck: Luck) -> float:
    """The most that the path brings, battery and loads together [A].

    path: relay or charger; luck: what is not known.
    """
    spare = (path.spare_a or SPARE_A) * luck.spare
    if path.kind == "dcdc":
        return min(path.rating_a, spare) * DCDC_SHARE
    return spare * (MANAGED if path.managed else 1.0) if path.kind == "relay" else 0.0


def taken_in(now: Sequence[float], capacity_ah: float, hours: float = 1.0) -> list[float]:
    """Ah that a battery takes within a time from each per cent of charge, where nothing but itself limits it.

    now: what it takes at each per cent [A]; capacity_ah: what it holds [Ah]; hours: how long [h].
    """
    parts = max(round(PARTS * hours), 1)
    share = hours / parts / capacity_ah
    found = []
    for k in range(STEPS + 1):
        charge = k / STEPS
        for _ in range(parts):                          # Heun's rule: the mean of what is taken before and after
            before = now[min(int(charge * STEPS + 0.5), STEPS)] * share
            after = now[min(int((charge + before) * STEPS + 0.5), STEPS)] * share
            charge = min(charge + (before + after) / 2, 1.0)
        found.append((charge - k / STEPS) * capacity_ah)
    return found


def driving_hours(path: EnginePath, chemistry: Chemistry, capacity_ah: float, from_frac: float = 0.5, to_frac: float = 0.95,
                  air_c: float = 20.0, load_a: float = 0.0, seed: int = 1) -> Estimate | None:
    """Hours of driving from one charge to another, with the 95 % range over alternators, contacts and batteries; None: never.

    path: relay or charger; chemistry, capacity_ah: of the battery [Ah]; from_frac, to_frac: charge, 0 to 1; air_c: outside [°C];
    load_a: taken beside it [A]; seed: of the chance.
    """
    chance = Random(seed)
    middle = _hours(path, chemistry, capacity_ah, (from_frac, to_frac), air_c, load_a, Luck())
    if middle >= LONGEST_H:
        return None
    drawn = sorted(_hours(path, chemistry, capacity_ah, (from_frac, to_frac), air_c, load_a, draw_luck(chance)) for _ in range(DRAWS))
    return Estimate(middle, drawn[1], drawn[-2], "first guess")


def _hours(path: EnginePath, chemistry: Chemistry, capacity_ah: float, charge: tuple[float, float], air_c: float, load_a: float,
           luck: Luck) -> float:
    """Hours from one charge to another; LONGEST_H where it takes longer or never comes."""
    at, until = charge
    passed_h = 0.0
    most_a = max(source_a(path, luck) - load_a, 0.0)
    while at < until and passed_h < LONGEST_H:
        at += min(engine_a(path, chemistry, capacity_ah, at, air_c, luck), most_a) * STEP_H / capacity_ah
        passed_h += STEP_H
    return passed_h


def describe_path(path: EnginePath) -> str:
    """The path in words.

    >>> describe_path(EnginePath("relay", 5, 16))
    'a plain relay with 5 m of 16 mm²'
    """
    if path.kind == "dcdc":
        return f"DC-DC charger {path.rating_a:g} A"
    if path.kind == "relay":
        managed = ", alternator under engine control" if path.managed else ""
        return f"a plain relay with {path.length_m:g} m of {path.area_mm2:g} mm²{managed}"
    return "no charging from the engine"


def warnings(path: EnginePath, chemistry: Chemistry, capacity_ah: float) -> list[str]:
    """What to be told before such a path is built.

    path: relay or charger; chemistry, capacity_ah: of the battery [Ah].
    """
    found = []
    if path.managed and path.kind == "relay":
        found.append("An alternator under engine control lowers its voltage once the starter battery is full: a plain relay then hardly "
                     "charges. Take a DC-DC charger.")
    if chemistry == "lfp" and path.kind == "relay":
        found.append("Lithium on a bare alternator takes all that it can give for hours, and an alternator may overheat; and when the "
                     "battery's own switch opens, the surge can destroy electronics. Take a DC-DC charger.")
        rush_a = accepted_a(chemistry, capacity_ah, 0.2, alternator_v(20.0), cable_ohm(path) + CONTACT_OHM)
        spare = path.spare_a or SPARE_A
        if rush_a > spare:
            found.append(f"At 20 % charge {rush_a:.0f} A would flow, where the alternator has about {spare:.0f} A to spare.")
    if path.kind == "dcdc" and path.rating_a > (path.spare_a or SPARE_A):
        found.append(f"A charger of {path.rating_a:g} A takes more than the {path.spare_a or SPARE_A:.0f} A that the alternator has "
                     "to spare.")
    return found
