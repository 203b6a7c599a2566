"""The tables of ampledger.toml: every key with its kind, limits, default and what it means."""
from datetime import date, time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of

FLOODED = limits_of("flooded")


def _as_text(value: Any) -> Any:
    """TOML has times and dates of its own; unquoted ones are as good as quoted ones."""
    return value.strftime("%H:%M") if isinstance(value, time) else value.isoformat() if isinstance(value, date) else value


class Table(BaseModel):
    """Every table: frozen, and no key that is not written here."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class BatteryTable(Table):
    """A battery as its label says."""

    chemistry: Chemistry = Field(description="what the label says: flooded, agm, gel or lfp")
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

    reserve_soc_pct: float | None = Field(
        None, ge=0, le=90, description="what must stay in it, per cent; 50 for lead-acid and 20 for lfp if not given")
    cutout_voltage_v: float | None = Field(
        None, ge=9, le=13, description="the voltage at which the fridge switches itself off, if it does")
    equalise_v: float | None = Field(
        None, ge=FLOODED.usual_absorption_v, le=FLOODED.equalise_upper_v,
        description="the voltage of an equalising charge that you mean to give, for some hours; flooded only")
    acid_density_kg_l: float | None = Field(
        None, ge=1.15, le=1.35, description="density of its acid when full, at 25 °C, if it is another than usual: 1.20 to 1.23 where it "
        "was filled for the tropics; flooded only")

    @model_validator(mode="after")
    def _only_flooded_is_equalised(self) -> "HouseTable":
        if self.equalise_v is not None and self.chemistry != "flooded":
            raise ValueError(f"equalise_v = {self.equalise_v:g} would ruin a battery of the kind {self.chemistry}: only flooded "
                             "batteries are equalised; leave it out")
        if self.acid_density_kg_l is not None and self.chemistry != "flooded":
            raise ValueError(f"acid_density_kg_l = {self.acid_density_kg_l:g} can be measured in flooded batteries only, not in one of "
                             f"the kind {self.chemistry}; leave it out")
        return self


class StarterTable(BatteryTable):
    """The starter battery."""


class VehicleTable(Table):
    """What surrounds the batteries."""

    charging: Literal["isolator", "dc_dc", "unknown"] = Field(
        "unknown", description="how the engine charges the house battery; found out from the log if unknown")
    isolator_follows: Literal["engine", "voltage", "unknown"] = Field(
        "unknown", description="what opens the relay after a stop: the engine's wire at once, or a voltage hours later; "
        "found out from the log if unknown, but a stuck one is named sooner if given")
    latitude_deg: float | None = Field(None, ge=-90, le=90, description="for sunrise, north positive; learnt if not given")
    longitude_deg: float | None = Field(None, ge=-180, le=180, description="for sunrise, east positive; learnt if not given")
    bedtime: Annotated[str, BeforeValidator(_as_text)] | None = Field(
        None, pattern=r"^([01]?\d|2[0-3]):[0-5]\d$",
        description='when to say what tonight brings, local time as "21:30"; learnt from the lights if not given')

    @model_validator(mode="after")
    def _a_relay_to_follow(self) -> "VehicleTable":
        if self.charging == "dc_dc" and self.isolator_follows != "unknown":
            raise ValueError(f'isolator_follows = "{self.isolator_follows}" is said of a relay, but charging = "dc_dc" has none; '
                             "leave one of them out")
        return self


class WiringTable(Table):
    """What is wired, for the picture on the page Wiring; nothing is reckoned by it."""

    shunt_side: Literal["low", "high"] = Field(
        "low", description="low: the shunt is in the house battery's negative lead; high: in its positive lead")
    solar_charger_count: int = Field(1, ge=0, le=3, description="solar chargers, measured or not")
    shore_charger: bool = Field(False, description="a charger from the mains")
    inverter: bool = Field(False, description="an inverter")


class ShuntTable(Table):
    """What commissioning found out about the house shunt."""

    offset_a: float = Field(0.0, ge=-20, le=20, description="what it reads with nothing flowing; `ampledger setup zero`")
    offset_sigma_a: float = Field(0.08, gt=0, le=20, description="how unsure that is, one standard deviation")
    gain: float = Field(1.0, ge=0.5, le=2.0, description="true current over shown current, by a multimeter; `ampledger setup gain`")
    gain_sigma_frac: float = Field(0.006, gt=0, le=0.5, description="how unsure that is, one standard deviation, as a fraction")
    calibrated_on: Annotated[str, BeforeValidator(_as_text)] | None = Field(None, description="the date of it, for you")


class BoardTable(Table):
    """How this board is fed. What it draws is a load of the house battery, on even when everything is off."""

    supply: Literal["through_shunt", "past_shunt", "elsewhere", "unknown"] = Field(
        "unknown", description="through_shunt: from the house battery, its 0 V on the load side of the shunt (right); past_shunt: its 0 V "
        "on the battery's side, so that the shunt does not see it; elsewhere: not from the house battery")
    current_a: float | None = Field(None, gt=0, le=5, description="what it draws at 12 V; watts of its supply over 12, else 0.25")
    current_sigma_a: float | None = Field(
        None, gt=0, le=2, description="how unsure that is, one standard deviation; a quarter of it if not given")


def _date_field(description: str) -> Any:
    return Field(None, description=description)


class CommissioningTable(Table):
    """What `ampledger setup` compared with a multimeter or tried out, and when."""

    direction_on: Annotated[str, BeforeValidator(_as_text)] | None = _date_field("when the way the current counts was last tried")
    which_on: Annotated[str, BeforeValidator(_as_text)] | None = _date_field("when a start of the engine showed which battery is which")
    house_divider: Literal["known", "unknown"] = Field(
        "known", description="unknown: the house voltage is measured and not believed until it is compared with a multimeter, on the page "
        "Instruments or by `ampledger calibrate divider`")
    starter_divider: Literal["known", "unknown"] = Field("known", description="likewise for the starter voltage")
    house_voltage_on: Annotated[str, BeforeValidator(_as_text)] | None = _date_field(
        "when the house voltage was compared with a multimeter")
    house_voltage_sigma_frac: float | None = Field(
        None, gt=0, le=0.2, description="how unsure it is since, one standard deviation, as a fraction; the charge filter counts with it")
    starter_voltage_on: Annotated[str, BeforeValidator(_as_text)] | None = _date_field("when the starter voltage was compared")
    starter_voltage_sigma_frac: float | None = Field(None, gt=0, le=0.2, description="how unsure it is since, likewise")
    house_lead_on: Annotated[str, BeforeValidator(_as_text)] | None = _date_field("when the voltage's lead was tried under load")
    house_lead_ohm: float | None = Field(
        None, ge=-1, le=1, description="resistance between the battery's posts and the voltage's instrument, for you; 0 is right")
    house_lead_sigma_ohm: float | None = Field(None, gt=0, le=1, description="how unsure that is, one standard deviation")


class LogTable(Table):
    """Where the log lives, and how it is kept."""

    database: Path = Field(Path("ampledger.db"), description="the log's file, beside the configuration unless the path is absolute")
    beat_s: float = Field(1.0, ge=0.1, le=60, description="seconds between readings")
    commit_s: float = Field(60.0, ge=1, le=900, description="seconds between writes: so much raw log a power cut can take; "
                            "300 spares the card; alerts and events are written at once")
    raw_days: int = Field(400, ge=7, le=4000, description="days for which every reading is kept; minutes and hours are kept longer")
    backup_to: Path | None = Field(None, description="folder for a nightly copy, on another card or stick")
    backup_on_same_card: bool = Field(False, description="copy there even if it lies on the log's own card")


class DashboardTable(Table):
    """Where the pages are served."""

    address: str = Field("127.0.0.1:21873", pattern=r"^[^\s]+:\d{1,5}$",
                         description='address and port; "0.0.0.0:21873" opens the pages to the whole network')
    code_hash: str | None = Field(None, description="from `ampledger code`; asked for before anything is changed")
    code_to_read: bool = Field(False, description="ask for the code before showing anything, too")
    names: list[str] = Field(default_factory=list, description="names of your own that browsers may call the board by")
    certificate_file: Path | None = Field(
        None, description="your certificate with its chain (PEM); the pages are then served by https only")
    key_file: Path | None = Field(None, description="the certificate's private key (PEM), not locked by a passphrase")

    @model_validator(mode="after")
    def _both_or_none(self) -> "DashboardTable":
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file belong together; give both or none")
        return self

    @model_validator(mode="after")
    def _never_open_without_a_code(self) -> "DashboardTable":
        if self.open_to_network and self.code_hash is None:
            raise ValueError(f'address = "{self.address}" opens the pages to a network, and no code guards them; '
                             "`ampledger pages open` makes both")
        return self

    @property
    def open_to_network(self) -> bool:
        """Whether others than this board may ask."""
        return not self.address.startswith(("127.", "localhost:", "[::1]:"))


class ClockTable(Table):
    """Who else may say what time it is; network time and a clock chip are found without a word here."""

    gpsd: str | None = Field(None, pattern=r"^[^\s:]+:\d{1,5}$",
                             description='where gpsd listens, usually "127.0.0.1:2947": the satellites\' time dates the log')


class MqttTable(Table):
    """A topic that alerts are published to, retained."""

    host: str = Field(min_length=1, description="the broker")
    port: int | None = Field(None, ge=1, le=65535, description="its port; 1883 if not given, 8883 with tls")
    topic: str = Field("ampledger/alerts", min_length=1, pattern=r"^[^#+]+$", description="alerts go to TOPIC/battery/kind")
    state: bool = Field(True, description="the whole state goes to TOPIC/state once a minute too, retained (`ampledger docs data`)")
    username: str | None = Field(None, description="if the broker asks")
    password_file: Path | None = Field(None, description="a file that holds the password and nothing else")
    tls: bool = Field(False, description="TLS to the broker; its certificate and name are checked")
    ca_file: Path | None = Field(None, description="who signs the broker's certificate (PEM), where the system does not trust it by itself")
    certificate_file: Path | None = Field(None, description="your own certificate (PEM), if the broker asks for one")
    key_file: Path | None = Field(None, description="its private key (PEM), not locked by a passphrase")

    @model_validator(mode="after")
    def _files_only_with_tls(self) -> "MqttTable":
        if not self.tls and (self.ca_file or self.certificate_file or self.key_file):
            raise ValueError("ca_file, certificate_file and key_file are of use with TLS only; write tls = true")
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file belong together; give both or none")
        return self


class PublishTable(Table):
    """A fleet's collector that this board sends its log to, when there is a network. Nobody's, unless you fill it in."""

    url: str | None = Field(None, pattern=r"^https?://[^\s]+$", description="the collector's address, https://…; none: nothing is sent")
    key_file: Path | None = Field(None, description="a file that holds this vehicle's key and nothing else (`ampledger fleet enrol`)")
    every_minutes: float = Field(60.0, ge=5, le=10080, description="minutes between two tries to send what is new")
    economy: bool = Field(False, description="at most every six hours, for a contract that counts each megabyte")
    position: bool = Field(False, description="send latitude and longitude too")
    names: bool = Field(False, description="send who acknowledged an alert too")
    ca_file: Path | None = Field(None, description="who signs the collector's certificate (PEM), if the system does not trust it")

    @model_validator(mode="after")
    def _both_or_none(self) -> "PublishTable":
        if (self.url is None) != (self.key_file is None):
            raise ValueError("url and key_file belong together; give both or none")
        return self


class AlertsTable(Table):
    """How alerts reach a person; the journal always gets them."""

    command: list[str] | None = Field(
        None, min_length=1, description="program and arguments, run with the alert as JSON on standard input")
    apprise: list[str] = Field(default_factory=list, description="addresses of services, for the Apprise library")
    mqtt: MqttTable | None = Field(
        None, description="{ host, port, topic, username, password_file, tls, ca_file, certificate_file, key_file }")
    heartbeat_command: list[str] | None = Field(
        None, min_length=1, description="program and arguments, run with a sign of life as JSON on standard input")
    heartbeat_minutes: float = Field(60.0, ge=1, le=1440, description="minutes between signs of life, by command and topic")
    timeout_s: float = Field(20.0, gt=0, le=300, description="seconds that one try may take")


class SourceTable(BaseModel):
    """One instrument: its driver's name; everything else belongs to the driver."""

    model_config = ConfigDict(extra="allow", frozen=True)
    driver: str = Field(min_length=1, description="one of the drivers that `ampledger docs drivers` lists")


class File(Table):
    """The configuration of ampledger: two batteries, what measures them, where the log goes."""

    house: HouseTable = Field(description="the house battery")
    starter: StarterTable = Field(description="the starter battery")
    vehicle: VehicleTable = Field(VehicleTable(), description="what surrounds the batteries")
    wiring: WiringTable = Field(WiringTable(), description="what is wired, for the picture on the page Wiring")
    shunt: ShuntTable = Field(ShuntTable(), description="what commissioning found out about the house shunt")
    board: BoardTable = Field(BoardTable(), description="how this board is fed, and what it draws")
    commissioning: CommissioningTable = Field(
        CommissioningTable(), description="what `ampledger setup` found out about the wiring, for you and the charge filter")
    source: list[SourceTable] = Field(default_factory=list, description="one table for each instrument")
    log: LogTable = Field(LogTable(), description="where the log lives, and how it is kept")
    clock: ClockTable = Field(ClockTable(), description="who else may say what time it is; network time and a clock chip need no word here")
    dashboard: DashboardTable = Field(DashboardTable(), description="where the pages are served")
    alerts: AlertsTable = Field(AlertsTable(), description="how alerts reach a person; the journal always gets them")
    publish: PublishTable = Field(PublishTable(), description="a fleet's collector to send the log to; nobody's, unless you fill it in")
