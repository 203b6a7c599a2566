"""Everything there is to say about one simulated vehicle and its journey, before it begins."""
from dataclasses import dataclass
from typing import Literal

from drivers.vehicle.protection import ProtectionPlan

Chemistry = Literal["flooded", "agm", "gel", "lfp"]

#: kind -> what `amount` means
FAULTS = {
    "starter_drain": "amperes",
    "isolator_stuck_closed": "",
    "isolator_stuck_open": "",
    "isolator_intermittent": "share of the closed time in which the contact drops out, 0 to 1",
    "path_resistance": "ohms added by the end, growing from 0",
    "starter_weak": "factor on the starter battery's resistance; its charge acceptance suffers alike",
    "starter_cell_short": "volts lost at once; 2 is one cell",
    "house_faded": "share of the house battery's capacity that is left",
    "house_hot": "kelvin by which something warms the house battery above what surrounds it",
    "thermal_runaway": "factor on the gas of a sealed house battery that has dried out; its heat stays inside",
    "charge_path_open": "", "discharge_path_open": "",
    "current_lost": "", "house_voltage_lost": "", "starter_voltage_lost": "", "temperature_lost": "",
    "current_frozen": "", "house_voltage_frozen": "", "starter_voltage_frozen": "",
    "shunt_reversed": "",
    "divider_wrong": "factor on the starter voltage as read",
    "house_divider_wrong": "factor on the house voltage as read",
    "load_unseen": "amperes that go round the shunt",
    "fridge_unseen": "share of the fridge's current that goes round the shunt",
    "current_saturated": "amperes beyond which the shunt shows no more, either way",
    "house_voltage_saturated": "volts beyond which the channel shows no more",
    "current_noisy": "amperes of noise more, one standard deviation",
    "house_voltage_noisy": "volts of noise more, one standard deviation",
    "sun_on_sensor": "kelvin that full sun puts on the house battery's temperature sensor",
}


@dataclass(frozen=True, slots=True)
class BatteryPlan:
    """One battery as it really is, label included.

    true_capacity_frac is what it holds at the 20 h rate and 25 °C, over its label. limited_by says
    what the missing part is missing: "reservoir" (acid, or cyclable lithium) or "plates" (lead-acid
    only: active mass, so that much acid is left over and rest voltage stays high when it is empty).
    span_factor and full_offset_v bend the rest-voltage curve away from the usual one of its kind,
    bend adds curvature as a share of the span. The ..._end values are reached, in a straight line,
    after the plan's days: ageing to order.
    """

    chemistry: Chemistry = "agm"
    label_ah: float = 100.0
    true_capacity_frac: float = 1.0
    soc_frac: float = 0.8
    limited_by: Literal["reservoir", "plates"] = "reservoir"
    full_offset_v: float = 0.0
    span_factor: float = 1.0
    bend: float = 0.0
    resistance_factor: float = 1.0
    slow_factor: float = 1.0
    gassing_factor: float = 1.0
    surface_factor: float = 1.0
    self_discharge_per_month: float | None = None   # None: usual for its chemistry
    loss_frac: float | None = None
    acceptance_h: float = 0.9
    hysteresis_v: float = 0.05          # whole gap between charge and discharge, 12 V (lithium)
    knee_v: float = 0.15                # how much lower than graphite alone it comes out, near empty (lithium)
    graphite_full: float = 0.80         # lithium in graphite when new and full: where its steps lie
    own_use_a: float = 0.0              # the battery's own electronics, not seen by the shunt
    voltage_per_k: float = 0.00125      # of the rest voltage, 12 V
    capacity_end_frac: float | None = None
    resistance_end_factor: float | None = None
    protection: ProtectionPlan | None = None    # lithium: its own electronics, None: they never act


@dataclass(frozen=True, slots=True)
class SensorPlan:
    """What the instruments get wrong. Steps are those of the converter; drift is per kelvin from 25 °C."""

    current_gain: float = 1.003
    current_offset_a: float = 0.03
    current_offset_per_k_a: float = 0.0005
    house_gain: float = 1.001
    starter_gain: float = 0.999
    starter_per_k_v: float = 0.0
    temperature_offset_c: float = 0.5
    noise_v: float = 0.001
    noise_a: float = 0.008
    step_v: float = 0.00125
    step_a: float = 0.005
    gaps_per_day: float = 0.0
    with_temperature: bool = True
    with_ambient: bool = False
    with_solar: bool = False
    with_ignition: bool = False
    fast_starter: bool = False          # 50 Hz around every start


@dataclass(frozen=True, slots=True)
class Drive:
    """One run of the engine, or a try: crank_s seconds of cranking from start_s on."""

    start_s: float
    stop_s: float
    crank_s: float = 1.0
    starts: bool = True


@dataclass(frozen=True, slots=True)
class Ordered:
    """A fault to order. FAULTS says what kinds there are and what amount means."""

    kind: str
    start_s: float
    stop_s: float = float("inf")
    amount: float = 0.0


@dataclass(frozen=True, slots=True)
class Plan:
    """A vehicle and its journey. Equal plans give equal journeys, bit for bit, at equal steps.

    Second 0 is local midnight at start_hour 0. Currents of loads are at 12.5 V.
    """

    seed: int = 0
    name: str = "vehicle"
    days: float = 14.0
    start_hour: float = 0.0
    house: BatteryPlan = BatteryPlan()
    starter: BatteryPlan = BatteryPlan(
        chemistry="flooded", label_ah=70.0, soc_frac=0.95, resistance_factor=0.65)
    sensor: SensorPlan = SensorPlan()
    drives: tuple[Drive, ...] = ()
    faults: tuple[Ordered, ...] = ()
    # place and weather
    latitude_deg: float = 44.0
    day_of_year: int = 180
    mean_temperature_c: float = 18.0
    swing_c: float = 11.0
    heat_days: tuple[tuple[int, int, float], ...] = ()       # (first day, last day, kelvin warmer)
    cloud_days: tuple[tuple[int, int, float], ...] = ()      # (first day, last day, share of clear sky)
    clear_share: float = 0.6
    # charging
    panel_w: float = 180.0
    shade_until_hour: float = 0.0
    absorption_v: float = 14.4
    float_v: float = 13.6
    absorption_h: float = 3.0
    compensation_v_per_k: float = 0.0   # of the solar charger, by the house battery's temperature, from 25 °C
    alternator_v: float = 14.2
    alternator_limit_a: float = 70.0
    alternator: Literal["steady", "smart"] = "steady"
    charging: Literal["isolator", "dc_dc"] = "isolator"
    isolator_senses: Literal["engine", "starter", "both"] = "engine"
    path_ohm: float = 0.020
    dc_dc_a: float = 20.0
    # loads of the house
    fridge_a: float = 4.0
    fridge_set_c: float = 4.0
    fridge_size: float = 1.0                                 # heat that leaks in, 1: a 45-litre box
    cutout_v: float = 10.8
    cutin_v: float = 11.9
    standby_a: float = 0.12
    lights_a: float = 1.4
    laptop_wh_per_day: float = 120.0
    pump_a: float = 5.0
    water_l_per_day: float = 20.0
    bedtime_hour: float = 22.75
    guest_days: tuple[tuple[int, int], ...] = ()
    home_days: tuple[int, ...] = ()                          # nobody lives in it: only standby draws
    extra_a: tuple[tuple[float, float, float], ...] = ()     # (from second, to second, amperes)
    # loads of the starter
    starter_standby_a: float = 0.012
    running_load_a: float = 11.0
    starter_motor_ohm: float = 0.052

    def __post_init__(self) -> None:
        for fault in self.faults:
            if fault.kind not in FAULTS:
                raise ValueError(f"no fault called {fault.kind!r}; choose one of {', '.join(FAULTS)}")
