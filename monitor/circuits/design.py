"""From a circuit and its source to conductor, fuse, relay, heat and drop."""
from dataclasses import dataclass, replace

from monitor.circuits import conductor, fuse
from monitor.circuits.circuit import NOMINAL_V, Circuit, Refused, check
from monitor.circuits.fuse import Fuse
from monitor.circuits.source import UNKNOWN, Supply
from monitor.circuits.tables import BATTERIES, CLASSES_C, FUSE_CLASSES, FUSES, RELAYS, SIZES, Size

BLADE = FUSE_CLASSES[0]
#: In sight of every figure of the sheet.
CAUTION = ("By published tables, for copper; local codes, the data of cable, fuse and device, and a licensed "
           "electrician have the last word.")

#: What helps where heat decides.
WAYS_OUT = "share the load between circuits, take a higher insulation class, a cooler way or conductors laid apart"


@dataclass(frozen=True, slots=True)
class Run:
    """A conductor with its fuse, as laid.

    conductor : size; area_mm2; table_a : its table's current in 30 °C air [A]; ampacity_a : what it may carry there [A]
    copper_c : at the circuit's current [°C]; drop_v : out and back, hot [V]
    drop_pct : the same with the drop of its feed [% of 12 V]; load_v : left of 12 V at the load [V]
    heat_w : in the whole cable [W]; far_short_a : a short circuit at its far end [A]
    decided_by : ampacity, drop or short circuit: what asked for this size
    """

    conductor: str
    area_mm2: float
    table_a: float
    ampacity_a: float
    fuse: Fuse
    copper_c: float
    drop_v: float
    drop_pct: float
    load_v: float
    heat_w: float
    far_short_a: float
    decided_by: str


@dataclass(frozen=True, slots=True)
class Relay:
    """What a relay or contactor must be rated for.

    continuous_a : printed rating [A]; make_a : what it must close on [A], None: ask for the load's inrush
    """

    continuous_a: float
    make_a: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """The sheet of one circuit: in metric size (or the conductor that is there) and American gauge, and what else is to be done."""

    circuit: Circuit
    supply: Supply
    air_c: float
    run: Run
    american_run: Run | None
    fuse_count: int
    relay: Relay | None
    notes: tuple[str, ...]
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class Sheet:
    """Every circuit that can be, and a sentence for each that cannot, both in the order they were given."""

    plans: tuple[Plan, ...]
    refused: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def design(circuit: Circuit, supply: Supply = UNKNOWN, other: Supply | None = None) -> Plan:
    """The sheet of one circuit.

    circuit : as described; supply : what feeds it; other : the second battery of a link, None: like the first

    Raises
    ------
    Refused : it cannot be or is not safe; one sentence with the limit and where it comes from
    """
    check(circuit)
    strongest = supply
    if circuit.kind == "link":
        other = other or supply
        strongest = max(supply, other, key=lambda s: s.short_circuit_a)
    american_run: Run | None = None
    if circuit.conductor:
        series = _series_of(circuit)
        run = _run(circuit, strongest, (_size_of(circuit, series),))
    else:
        run = _run(circuit, strongest, SIZES["tinned" if circuit.tinned else "metric"])
        try:
            american_run = _run(circuit, strongest, SIZES["american"])
        except Refused:
            american_run = None
    relay = _relay(circuit, supply, other, run) if circuit.relay or circuit.kind == "link" else None
    return Plan(circuit, strongest, circuit.air_c, run, american_run, 2 if circuit.kind == "link" else 1, relay,
                _notes(circuit, strongest, run))


def _series_of(circuit: Circuit) -> str:
    return "american" if "AWG" in circuit.conductor.upper() else "tinned" if circuit.tinned else "metric"


def _size_of(circuit: Circuit, series: str) -> Size:
    wanted = circuit.conductor.lower().replace("²", "2").replace(" ", "").replace("awg", "").replace("mm2", "")
    aliases = {"1/0": "0", "00": "2/0", "000": "3/0", "0000": "4/0"}
    wanted = aliases.get(wanted, wanted)
    for size in SIZES[series]:
        if size.name.split()[0] == wanted:
            return size
    raise Refused(f"{circuit.name}: no conductor {circuit.conductor!r} in the tables: take one of "
                  + ", ".join(size.name for size in SIZES[series]) + " (IEC 60228; 33 CFR 183.425 for AWG)")


def _run(circuit: Circuit, supply: Supply, sizes: tuple[Size, ...]) -> Run:
    """The first of the sizes that keeps every rule. Raises Refused with the rule that none keeps."""
    why, decided_by = "", "ampacity"
    for size in sizes:
        run, fault, rule = _try(circuit, supply, size)
        if run is not None:
            return replace(run, decided_by=decided_by)
        why, decided_by = fault, rule
    even = "" if len(sizes) == 1 else "even "
    raise Refused(f"{circuit.name}: {even}{sizes[-1].name} {why}")


def _try(circuit: Circuit, supply: Supply, size: Size) -> tuple[Run | None, str, str]:
    """One size: the run, or why not and which rule says so."""
    may_a = conductor.ampacity_a(size, circuit.insulation_c, circuit.air_c, engine_bay=circuit.place == "engine bay",
                                 loaded_count=circuit.loaded_count, laid=circuit.laid)
    column = conductor.class_column(circuit.insulation_c)
    where = f"class {CLASSES_C[column]} °C insulation in {circuit.air_c:g} °C air, {circuit.place}"
    if circuit.current_a > may_a:
        return None, (f"may carry only {may_a:.0f} A there ({where}; 33 CFR 183.425, derated), less than the {circuit.current_a:g} A "
                      f"that flow; {WAYS_OUT}"), "ampacity"
    fitting = fuse.list_fuses(circuit.current_a, circuit.continuous, may_a, supply, circuit.fuse_a)
    if not fitting:
        return None, _no_fuse(circuit, supply, may_a), "ampacity"
    copper_c = conductor.temperature_c(circuit.current_a, may_a, circuit.insulation_c, circuit.air_c)
    ohm = conductor.loop_ohm(size, circuit.length_m, copper_c)
    drop_v = circuit.current_a * ohm
    drop_pct = 100 * (drop_v + supply.drop_v) / NOMINAL_V
    if drop_pct > circuit.drop_pct:
        feed = f" with the {100 * supply.drop_v / NOMINAL_V:.1f} % of its feed" if supply.drop_v else ""
        return None, (f"drops {drop_pct:.1f} %{feed} at {circuit.current_a:g} A over {circuit.length_m:g} m and back when warm, more "
                      f"than the {circuit.drop_pct:g} % allowed (ABYC E-11); shorten the run or share the load"), "drop"
    far_a = BATTERIES["short_circuit"]["open_v"] / (
        supply.resistance_ohm + conductor.loop_ohm(size, circuit.length_m, CLASSES_C[column]))
    burns = False
    for kind, rating in fitting:
        if far_a < fuse.blows_fast_from_a(kind, rating):
            continue
        if not fuse.outlasts(size, kind, rating, copper_c, circuit.insulation_c):
            burns = True
            continue
        chosen = Fuse(rating, kind.name, kind.breaking_a, kind.breaking_a < supply.short_circuit_a)
        return Run(size.name, size.area_mm2, size.ampacity_a[column], may_a, chosen, copper_c, drop_v, drop_pct,
                   NOMINAL_V - drop_v - supply.drop_v, drop_v * circuit.current_a, far_a, "ampacity"), "", ""
    if burns:
        return None, (f"would lie above what its insulation bears before a {fitting[0][1]:g} A fuse ends a short circuit (adiabatic law, "
                      "IEC 60949); take a thicker conductor"), "short circuit"
    return None, (f"gives only {far_a:.0f} A in a short circuit at its far end, too little to blow a {fitting[0][1]:g} A fuse within 5 s "
                  "(IEC 60364-4-43); shorten the run"), "short circuit"


def _no_fuse(circuit: Circuit, supply: Supply, may_a: float) -> str:
    """Why no fuse fits between the load and a conductor that may carry so much."""
    least = fuse.least_rating_a(circuit.current_a, circuit.continuous)
    needs = (f"{circuit.current_a:g} A for hours need a fuse of {least:.3g} A or more (125 %, NEC 215.3)" if circuit.continuous
             else f"{circuit.current_a:g} A need a fuse of that or more")
    kinds = [kind for kind in FUSE_CLASSES if fuse.may_break(kind, supply)]
    if not kinds:
        return (f"cannot be fused there: no class of fuse in the table breaks the {supply.short_circuit_a / 1000:.1f} kA that "
                f"{supply.name} can push (the strongest breaks {max(k.breaking_a for k in FUSE_CLASSES) / 1000:g} kA, IEC 60269-1); "
                + ("fuse each of the batteries in parallel by itself" if supply.count > 1 else
                   "if its label or maker names its short-circuit current, give that (short_circuit_a)"))
    if circuit.fuse_a is not None:
        most = max(fuse.greatest_rating_a(kind, may_a) for kind in kinds)
        if circuit.fuse_a > most:
            return (f"is not protected by a {circuit.fuse_a:g} A fuse: it may carry {may_a:.0f} A there, so the fuse may be {most:.0f} A "
                    f"at the most (IEC 60364-4-43 433.1)")
        if circuit.fuse_a < least:
            return f"cannot work behind a {circuit.fuse_a:g} A fuse: {needs}"
        return (f"cannot have a {circuit.fuse_a:g} A fuse there: no class of fuse of that rating breaks the "
                f"{supply.short_circuit_a / 1000:.1f} kA "
                f"that {supply.name} can push (breaking capacity: ISO 8820, UL 248, IEC 60269)")
    most = max(fuse.greatest_rating_a(kind, may_a) for kind in kinds)
    return (f"may carry {may_a:.0f} A there, so its fuse may be {most:.0f} A at the most (IEC 60364-4-43 433.1), but {needs}; "
            f"{WAYS_OUT}")


def _relay(circuit: Circuit, supply: Supply, other: Supply | None, run: Run) -> Relay:
    """Ratings of the circuit's relay; of a link the current that rushes when it joins a full and an empty battery."""
    needed = RELAYS["ratings"]["headroom_ratio"] * circuit.current_a
    rating = next((float(a) for a in RELAYS["ratings"]["continuous_a"] if a >= needed), None)
    if rating is None:
        raise Refused(f"{circuit.name}: a relay for {circuit.current_a:g} A would need a rating of {needed:.0f} A; the largest usual one "
                      f"is {RELAYS['ratings']['continuous_a'][-1]} A (common practice): share the load between circuits")
    if circuit.kind != "link" or circuit.inrush_a is not None:
        return Relay(rating, circuit.inrush_a)
    return Relay(rating, join_inrush_a(supply, other or supply, run.drop_v / circuit.current_a))


def join_inrush_a(supply: Supply, other: Supply, loop_ohm: float) -> float:
    """Current at the moment a full, charging battery is joined to an empty one [A].

    supply, other : the two batteries
    loop_ohm : of the cable out and back [ohm]; only the way out counts, because the chassis brings it back
    """
    table = BATTERIES["join"]
    return float(table["high_v"] - table["low_v"]) / (
        supply.resistance_ohm + other.resistance_ohm + loop_ohm / 2 + float(table["contact_ohm"]))


def _notes(circuit: Circuit, supply: Supply, run: Run) -> tuple[str, ...]:
    """What the owner has to do or know besides the figures."""
    place = FUSES["place"]
    notes = [f"Fuse within {1000 * place['bare_m']:.0f} mm of {'each battery' if circuit.kind == 'link' else 'its source'}; "
             f"{1000 * place['sheathed_m']:.0f} mm where the cable is sheathed or enclosed all the way (33 CFR 183.455)."]
    if circuit.kind == "link":
        notes.append("Both ends are sources: one such fuse at each battery.")
    if supply.count > 1:
        notes.append(f"{supply.count} batteries in parallel feed a short circuit together: besides this fuse one at each of them that "
                     f"breaks {supply.short_circuit_a / 1000:.1f} kA (ABYC E-11, as quoted).")
    if circuit.kind == "charger":
        notes.append("The battery is the source that burns a cable: its fuse sits at the battery, the charger's own output by its "
                     "handbook.")
    if circuit.kind == "control":
        notes.append("A coil kicks back when it is switched off: a diode or a resistor across it, the diode's ring to plus (ISO 7637-2 "
                     "pulses).")
    if circuit.kind == "sense":
        notes.append("Twist it with its return; nothing else is fed from it.")
    if run.fuse.backed_up:
        notes.append(f"A short right behind this fuse can reach {supply.short_circuit_a / 1000:.1f} kA, more than it breaks by itself: "
                     f"that is left to the main fuse before it, so keep it in a closed holder.")
    if circuit.kind == "load" and not supply.behind_main and "blade" not in run.fuse.kind and run.fuse.rating_a <= max(BLADE.ratings_a):
        notes.append(f"Here it sits at the battery. Behind a main fuse that breaks {supply.short_circuit_a / 1000:.1f} kA, in a panel, "
                     "a blade fuse does (--panel; on the page: fed from a panel).")
    if run.area_mm2 < 1.3:
        notes.append("The law for boats wants no single conductor thinner than 16 AWG (33 CFR 183.425): lay it in a sheath with others.")
    if circuit.ambient_c is None:
        notes.append(f"No temperature was given: {circuit.air_c:g} °C is assumed in the {circuit.place} (common practice).")
    if circuit.relay and circuit.inrush_a is None and circuit.kind != "link":
        notes.append("Lamps and motors draw several times their current when switched on: ask for the relay's rating for such loads.")
    return tuple(notes)
