"""ampledger.toml into frozen dataclasses; every fault at once, with its place and its cure."""
import json
import tomllib
from dataclasses import dataclass
from math import hypot
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from monitor.battery.label import Battery, BoardSupply, CurrentSensor, Vehicle
from monitor.battery.limits import limits_of
from monitor.config.faults import ConfigError, ConfigFault, faults_of, missing_tables
from monitor.config.tables import AlertsTable, BoardTable, ClockTable, DashboardTable, File, LogTable, PublishTable
from monitor.guides.wiring_plan import Wiring

#: A small board with its converter takes 2 to 4 W; one standard deviation of a figure read off a label (common practice).
BOARD_A, BOARD_SIGMA_FRAC = 0.25, 0.25


@dataclass(frozen=True, slots=True)
class Source:
    """One instrument, ready to be opened: its driver's name, class and checked options."""

    driver: str
    cls: Any
    options: Any

    def open(self) -> Any:
        """The instrument, opened. Raises CannotOpen."""
        return self.cls(self.options)


@dataclass(frozen=True, slots=True)
class Config:
    """Everything the daemon and the commands need to know."""

    path: Path
    vehicle: Vehicle
    sources: tuple[Source, ...]
    log: LogTable
    dashboard: DashboardTable
    alerts: AlertsTable
    clock: ClockTable = ClockTable()
    wiring: Wiring = Wiring()
    #: Voltages that are measured and not believed, for nobody knows the divider in front of them yet.
    unknown_dividers: frozenset[str] = frozenset()
    publish: PublishTable = PublishTable()


def load(path: Path, *, need_sources: bool = True) -> Config:
    """The configuration in a file.

    need_sources=False reads a vehicle file for a replay: the same file without sensors.

    Raises
    ------
    ConfigError : with every fault found, each naming table, key, value and what to write
    """
    try:
        plain = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ConfigError(path, [ConfigFault("", "", None, "there is no such file",
                                       "make it with `ampledger setup`, or name another with --config")]) from None
    except PermissionError:
        raise ConfigError(path, [ConfigFault("", "", None, "you may not read it",
                                             "it holds secrets: run this with sudo")]) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(path, [ConfigFault("", "", None, f"it cannot be read: {error}", "check its name and permissions")]) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ConfigError(path, [ConfigFault("", "", None, f"it is not TOML: {error}", "mend that line")]) from None
    return validate(plain, path, need_sources=need_sources)


def validate(plain: dict[str, Any], path: Path, *, need_sources: bool = True) -> Config:
    """The configuration in tables that were read from `path`, or are to be written there. Raises ConfigError.

    plain: the tables as read; path: the file they stand for; need_sources: refuse a configuration in which nothing is measured.
    """
    faults: list[ConfigFault] = missing_tables(plain)
    file: File | None = None
    try:
        file = File.model_validate(plain)
    except ValidationError as error:
        faults += [f for f in faults_of(error, File) if not (f.key == "" and f.table in {m.table for m in faults})]
    sources = _sources(plain.get("source", []), faults)
    if need_sources and not plain.get("source"):
        faults.append(ConfigFault("source", "", None, "no instrument is configured",
                            'write at least one [[source]] with driver = "…" (`ampledger docs drivers`)'))
    simulated = [s for s in sources if s.driver == "simulated"]
    if simulated and len(simulated) < len(sources):
        faults.append(ConfigFault("source", "driver", "simulated", "a simulated source beside real ones would mix invented readings "
                            "with measured ones", "take it out, or keep it alone"))
    if faults or file is None:
        raise ConfigError(path, faults)
    return Config(path, _vehicle(file), tuple(sources), _beside(path, file.log, "database", "backup_to"),
                  _beside(path, file.dashboard, "certificate_file", "key_file"),
                  file.alerts.model_copy(update={"mqtt": file.alerts.mqtt and _beside(
                      path, file.alerts.mqtt, "password_file", "ca_file", "certificate_file", "key_file")}),
                  file.clock, Wiring(**file.wiring.model_dump()),
                  frozenset(f"{b}_voltage_v" for b in ("house", "starter") if getattr(file.commissioning, f"{b}_divider") == "unknown"),
                  _beside(path, file.publish, "key_file", "ca_file"))


def _beside(path: Path, table: Any, *keys: str) -> Any:
    """The table with its relative paths taken from the folder that the configuration is in."""
    return table.model_copy(update={k: path.parent / getattr(table, k) for k in keys if getattr(table, k) is not None})


def schema_text() -> str:
    """The JSON Schema of the file, as docs/ampledger.schema.json holds it."""
    return json.dumps(File.model_json_schema(), indent=1, ensure_ascii=False) + "\n"


def _sources(tables: Any, faults: list[ConfigFault]) -> list[Source]:
    from drivers import driver_class
    from drivers.errors import DriverUnavailable

    found: list[Source] = []
    for number, table in enumerate(tables if isinstance(tables, list) else [], 1):
        if not isinstance(table, dict) or not isinstance(table.get("driver"), str):
            continue  # the model has already said so
        place = f"[source] number {number}"
        try:
            cls = driver_class(table["driver"])
            options = cls.Options.model_validate({k: v for k, v in table.items() if k != "driver"})
            found.append(Source(table["driver"], cls, options))
        except DriverUnavailable as error:
            faults.append(ConfigFault(place, "driver", table["driver"], str(error), ""))
        except ValidationError as error:
            faults += faults_of(error, cls.Options, place)
    return found


def _vehicle(file: File) -> Vehicle:
    house, vehicle, shunt = file.house, file.vehicle, file.shunt
    reserve = house.reserve_soc_pct
    if reserve is None:
        reserve = 100 * limits_of(house.chemistry).reserve_frac
    bedtime = None
    if vehicle.bedtime is not None:
        hours, minutes = vehicle.bedtime.split(":")
        bedtime = int(hours) + int(minutes) / 60
    found, board = file.commissioning, board_supply(file.board)
    past_a = board.house_a / shunt.gain if board.supply == "past_shunt" else 0.0   # leaves the battery unseen: as if the zero were there
    return Vehicle(
        house=Battery("house", house.chemistry, house.rated_capacity_ah, house.rated_hours, house.absorption_v,
                      house.float_v, reserve / 100, house.cutout_voltage_v, found.house_voltage_sigma_frac, house.equalise_v,
                      house.acid_density_kg_l),
        starter=Battery("starter", file.starter.chemistry, file.starter.rated_capacity_ah, file.starter.rated_hours,
                        file.starter.absorption_v, file.starter.float_v, voltage_sigma_frac=found.starter_voltage_sigma_frac),
        current_sensor=CurrentSensor(
            shunt.offset_a + past_a, hypot(shunt.offset_sigma_a, board.current_sigma_a if past_a else 0.0), shunt.gain,
            shunt.gain_sigma_frac),
        charging=vehicle.charging, isolator_follows=vehicle.isolator_follows,
        latitude_deg=vehicle.latitude_deg, longitude_deg=vehicle.longitude_deg, bedtime_hour=bedtime, board=board)


def board_supply(table: BoardTable) -> BoardSupply:
    """How the board is fed, with the usual current and doubt where the table gives none."""
    current_a = table.current_a if table.current_a is not None else BOARD_A
    sigma_a = table.current_sigma_a if table.current_sigma_a is not None else BOARD_SIGMA_FRAC * current_a
    return BoardSupply(table.supply, current_a, sigma_a)
