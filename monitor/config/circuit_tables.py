"""A whole system of circuits in one TOML file: batteries, the circuits that hang on them, and those that hang on circuits."""
import tomllib
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from monitor.battery.label import Chemistry
from monitor.circuits import source
from monitor.circuits.circuit import Circuit, Refused
from monitor.circuits.conductor import loop_ohm
from monitor.circuits.design import Plan, Sheet, design
from monitor.circuits.source import Supply
from monitor.circuits.tables import SIZES
from monitor.config.faults import ConfigError, ConfigFault, faults_of


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class BatteryTable(_Table):
    """A battery as a source of circuits."""

    chemistry: Chemistry = Field(description="flooded, agm, gel or lfp")
    capacity_ah: float | None = Field(None, gt=0, description="on the label, of ONE battery")
    cranking_a: float | None = Field(None, gt=0, description="cold-cranking amperes on the label (SAE)")
    short_circuit_a: float | None = Field(None, gt=0, description="its maker's short-circuit current, if known")
    count: int = Field(1, ge=1, description="such batteries in parallel")


class CircuitTable(_Table):
    """One circuit; what is not given is the usual."""

    name: str = Field(min_length=1, description="what you call it")
    current_a: float = Field(description="amperes that flow")
    length_m: float = Field(description="metres ONE way; the way back is added")
    kind: Literal["load", "charger", "link", "sense", "control"] = Field("load", description="link joins two batteries")
    source: str = Field("", description="the battery, or the circuit, that feeds it; the first battery if not given")
    to: str = Field("", description="the other battery of a link")
    place: Literal["cabin", "engine bay"] = Field("cabin", description="where the hottest part of it runs")
    laid: Literal["open", "conduit", "insulation"] = Field("open", description="insulation: wholly inside the wall's")
    loaded_count: int = Field(2, description="conductors under load in the same bundle, these two among them")
    insulation_c: float = Field(70, description="printed on the cable, 60 to 125")
    ambient_c: float | None = Field(None, description="air around it; 40 in the cabin and 70 in the engine bay if not given")
    drop_pct: float = Field(3, description="allowed drop: 3 for what must not suffer, 10 for the rest")
    continuous: bool = Field(True, description="it flows for hours")
    inrush_a: float | None = Field(None, description="amperes at switching on, if known")
    relay: bool = Field(False, description="a relay or contactor switches it")
    conductor: str = Field("", description='the cable that is there and shall be checked: "16 mm2" or "6 AWG"')
    fuse_a: float | None = Field(None, description="the fuse that is there and shall be checked")
    fuse_distance_m: float = Field(0, description="metres from its source to its fuse")
    sheathed: bool = Field(False, description="sheathed or enclosed all that way")
    tinned: bool = Field(False, description="tinned copper")


class SystemFile(_Table):
    """Batteries and circuits."""

    battery: dict[str, BatteryTable] = Field(description="one table for each battery: [battery.house]")
    circuit: list[CircuitTable] = Field(min_length=1, description="one [[circuit]] for each")


def load(path: Path) -> Sheet:
    """The sheet of a system file.

    Raises
    ------
    ConfigError : the file cannot be read, or not all of it is understood; every fault at once
    """
    try:
        plain = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ConfigError(path, [ConfigFault("", "", None, "there is no such file", "`ampledger docs wiring` shows one")]) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(path, [ConfigFault("", "", None, f"it cannot be read: {error}", "check its name and permissions")]) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ConfigError(path, [ConfigFault("", "", None, f"it is not TOML: {error}", "mend that line")]) from None
    return design_sheet(plain, path)


def design_sheet(plain: dict[str, Any], path: Path) -> Sheet:
    """The sheet of tables read from `path`. Raises ConfigError."""
    try:
        file = SystemFile.model_validate(plain)
    except ValidationError as error:
        raise ConfigError(path, faults_of(error, SystemFile)) from None
    faults: list[ConfigFault] = []
    supplies: dict[str, Supply] = {}
    for name, table in file.battery.items():
        try:
            supplies[name] = source.battery_supply(name, table.chemistry, table.capacity_ah, table.cranking_a, table.short_circuit_a,
                table.count)
        except ValueError as error:
            faults.append(ConfigFault(f"[battery.{name}]", "", None, str(error), ""))
    names = [c.name for c in file.circuit]
    for number, c in enumerate(file.circuit, 1):
        place = f"[circuit] number {number}"
        if names.count(c.name) > 1 or c.name in supplies:
            faults.append(ConfigFault(place, "name", c.name, "another circuit or battery has this name", "give each its own"))
        if c.source and c.source not in names and c.source not in file.battery:
            faults.append(ConfigFault(place, "source", c.source, "no battery and no circuit has this name",
                                f"known here: {', '.join([*file.battery, *names])}"))
        if c.to and c.to not in file.battery:
            faults.append(ConfigFault(place, "to", c.to, "no battery has this name", f"known here: {', '.join(file.battery)}"))
        if (c.kind == "link") != bool(c.to):
            faults.append(ConfigFault(place, "to", c.to or None, "a link names the second battery here, and nothing else does", ""))
    if not file.battery:
        faults.append(ConfigFault("battery", "", None, "no battery is there", "write [battery.house]"))
    if faults:
        raise ConfigError(path, faults)
    return _design_circuits(file, supplies, path)


def _design_circuits(file: SystemFile, supplies: dict[str, Supply], path: Path) -> Sheet:
    """Feeds first, then what they feed."""
    first = next(iter(file.battery))
    found: dict[str, Plan | str] = {}
    waiting = list(file.circuit)
    while waiting:
        ready = [c for c in waiting if (c.source or first) in supplies or (c.source in found and isinstance(found[c.source], str))]
        if not ready:
            raise ConfigError(path, [ConfigFault("circuit", "source", c.source, "these circuits feed each other in a ring",
                                           "one of them must hang on a battery") for c in waiting[:1]])
        for c in ready:
            waiting.remove(c)
            if c.source in found and isinstance(found[c.source], str):
                found[c.name] = f"{c.name}: its feed {c.source} is refused"
                continue
            behind = supplies[c.source or first]
            try:
                plan = design(circuit_of(c), behind, supplies.get(c.to))
            except Refused as error:
                found[c.name] = str(error)
                continue
            found[c.name] = plan
            supplies[c.name] = panel_behind(plan, behind)
    ordered = [found[c.name] for c in file.circuit]
    return Sheet(tuple(p for p in ordered if isinstance(p, Plan)), tuple(p for p in ordered if isinstance(p, str)), _sums(file, found))


def circuit_of(table: CircuitTable) -> Circuit:
    """The circuit that a table describes."""
    given = table.model_dump()
    return Circuit(supply=given.pop("source"), other=given.pop("to"), **given)


def panel_behind(plan: Plan, behind: Supply) -> Supply:
    """What hangs at the far end of a circuit: less short-circuit current, and its fuse as the main one."""
    size = next(s for sizes in SIZES.values() for s in sizes if s.name == plan.run.conductor)
    breaks = plan.run.fuse.breaking_a >= behind.short_circuit_a or behind.behind_main
    return source.panel_supply(plan.circuit.name, behind, loop_ohm(size, plan.circuit.length_m), breaks,
                        behind.drop_v + plan.run.drop_v)


def _sums(file: SystemFile, found: dict[str, Plan | str]) -> tuple[str, ...]:
    """A note for each feed whose loads together are more than it was made for."""
    notes = []
    for feed in file.circuit:
        plan = found[feed.name]
        total = sum(c.current_a for c in file.circuit if c.source == feed.name and c.kind != "charger")
        if isinstance(plan, Plan) and total > feed.current_a:
            notes.append(f"{feed.name}: what it feeds draws {total:g} A if all of it runs at once; it is made for {feed.current_a:g} A "
                         f"and its fuse of {plan.run.fuse.rating_a:g} A will blow above that.")
    return tuple(notes)


