"""ampledger.toml into frozen dataclasses; every fault at once, with its place and its cure."""
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from monitor.battery import Battery, CurrentSensor, Vehicle
from monitor.config_faults import ConfigError, Fault, faults_of, missing_tables

DEFAULT_RESERVE_PCT = {"lfp": 20.0}


class Table(BaseModel):
    """Every table: frozen, and no key that is not written here."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class BatteryTable(Table):
    """A battery as its label says."""

    chemistry: Literal["flooded", "agm", "gel", "lfp"] = Field(description="what the label says")
    rated_capacity_ah: float = Field(gt=1, le=2000, description="ampere-hours on the label, at rated_hours")
    rated_hours: float = Field(20, gt=0, le=120, description="hours of discharge the rating is for; 20 on most labels")
    absorption_v: float | None = Field(None, ge=12, le=16, description="the charger's higher voltage, if known")
    float_v: float | None = Field(None, ge=12, le=15, description="the voltage the charger holds afterwards, if known")

    @model_validator(mode="after")
    def _float_below_absorption(self) -> "BatteryTable":
        if self.absorption_v is not None and self.float_v is not None and self.float_v > self.absorption_v:
            raise ValueError(f"float_v = {self.float_v:g} is above absorption_v = {self.absorption_v:g}; "
                             "float is the lower of the two: exchange them")
        return self


class HouseTable(BatteryTable):
    """The house battery."""

    reserve_soc_pct: float | None = Field(None, ge=0, le=90, description="what must stay in it, per cent; "
                                          "50 for lead-acid and 20 for lfp if not given")
    cutout_voltage_v: float | None = Field(None, ge=9, le=13, description="voltage at which the fridge switches itself off")


class StarterTable(BatteryTable):
    """The starter battery."""


class VehicleTable(Table):
    """What surrounds the batteries."""

    charging: Literal["isolator", "dc_dc", "unknown"] = Field("unknown", description="how the engine charges the house "
                                                              "battery; found out from the log if unknown")
    latitude_deg: float | None = Field(None, ge=-90, le=90, description="for sunrise; learnt from the log if not given")
    longitude_deg: float | None = Field(None, ge=-180, le=180)
    bedtime: str | None = Field(None, pattern=r"^([01]?\d|2[0-3]):[0-5]\d$", description='local time, "21:30"; '
                                "learnt from the lights if not given")


class ShuntTable(Table):
    """What commissioning found out about the house shunt."""

    offset_a: float = Field(0.0, ge=-20, le=20, description="what it reads with nothing flowing")
    offset_sigma_a: float = Field(0.08, gt=0, le=20)
    gain: float = Field(1.0, ge=0.5, le=2.0, description="true current over shown current")
    gain_sigma_frac: float = Field(0.006, gt=0, le=0.5)
    calibrated_on: str | None = None


class LogTable(Table):
    """Where the log lives, and how it is kept."""

    database: Path = Field(Path("ampledger.db"), description="beside the configuration unless the path is absolute")
    beat_s: float = Field(1.0, ge=0.1, le=60, description="seconds between readings")
    commit_s: float = Field(60.0, ge=1, le=900, description="at most this much raw log is lost by a power cut; 300 spares the card")
    raw_days: int = Field(400, ge=7, le=4000, description="days for which every reading is kept")
    backup_to: Path | None = Field(None, description="folder for a nightly copy, on another card or stick")


class DashboardTable(Table):
    """Where the pages are served."""

    address: str = Field("127.0.0.1:8765", pattern=r"^[^\s]+:\d{1,5}$", description="loopback unless you say otherwise")
    code_hash: str | None = Field(None, description="from `ampledger code`; asked for before anything is changed")


class MqttTable(Table):
    """A topic that alerts are published to, retained."""

    host: str
    port: int = Field(1883, ge=1, le=65535)
    topic: str = "ampledger/alerts"
    username: str | None = None
    password_file: Path | None = None


class AlertsTable(Table):
    """How alerts reach a person; the journal always gets them."""

    command: list[str] | None = Field(None, min_length=1, description="run with the alert as JSON on standard input")
    apprise: list[str] = Field(default_factory=list, description="addresses for the Apprise library")
    mqtt: MqttTable | None = None
    timeout_s: float = Field(20.0, gt=0, le=300)


class SourceTable(BaseModel):
    """One instrument: its driver's name; everything else belongs to the driver."""

    model_config = ConfigDict(extra="allow", frozen=True)
    driver: str = Field(min_length=1, description="one of the drivers in docs/drivers.md")


class File(Table):
    """The whole file."""

    house: HouseTable
    starter: StarterTable
    vehicle: VehicleTable = VehicleTable()
    shunt: ShuntTable = ShuntTable()
    source: Annotated[list[SourceTable], Field(default_factory=list)]
    log: LogTable = LogTable()
    dashboard: DashboardTable = DashboardTable()
    alerts: AlertsTable = AlertsTable()


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
        raise ConfigError(path, [Fault("", "", None, "there is no such file",
                                       "write one (docs/configuration.md) or name another with --config")]) from None
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(path, [Fault("", "", None, f"it cannot be read: {error}", "check its name and permissions")]) from None
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(path, [Fault("", "", None, f"it is not TOML: {error}", "mend that line")]) from None
    faults: list[Fault] = missing_tables(plain)
    file: File | None = None
    try:
        file = File.model_validate(plain)
    except ValidationError as error:
        faults += [f for f in faults_of(error, File) if not (f.key == "" and f.table in {m.table for m in faults})]
    sources = _sources(plain.get("source", []), faults)
    if need_sources and not plain.get("source"):
        faults.append(Fault("source", "", None, "no instrument is configured",
                            'write at least one [[source]] with driver = "…" (docs/drivers.md)'))
    if faults or file is None:
        raise ConfigError(path, faults)
    log = file.log.model_copy(update={"database": path.parent / file.log.database})
    return Config(path, _vehicle(file), tuple(sources), log, file.dashboard, file.alerts)


def _sources(tables: Any, faults: list[Fault]) -> list[Source]:
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
            faults.append(Fault(place, "driver", table["driver"], str(error), ""))
        except ValidationError as error:
            faults += faults_of(error, cls.Options, place)
    return found


def _vehicle(file: File) -> Vehicle:
    house, vehicle, shunt = file.house, file.vehicle, file.shunt
    reserve = house.reserve_soc_pct
    if reserve is None:
        reserve = DEFAULT_RESERVE_PCT.get(house.chemistry, 50.0)
    bedtime = None
    if vehicle.bedtime is not None:
        hours, minutes = vehicle.bedtime.split(":")
        bedtime = int(hours) + int(minutes) / 60
    return Vehicle(
        house=Battery("house", house.chemistry, house.rated_capacity_ah, house.rated_hours, house.absorption_v,
                      house.float_v, reserve / 100, house.cutout_voltage_v),
        starter=Battery("starter", file.starter.chemistry, file.starter.rated_capacity_ah, file.starter.rated_hours,
                        file.starter.absorption_v, file.starter.float_v),
        current_sensor=CurrentSensor(shunt.offset_a, shunt.offset_sigma_a, shunt.gain, shunt.gain_sigma_frac),
        charging=vehicle.charging, latitude_deg=vehicle.latitude_deg, longitude_deg=vehicle.longitude_deg,
        bedtime_hour=bedtime)
