"""The simulated vehicle in motion: one step after another, truth and readings side by side."""
from dataclasses import replace
from math import exp
from random import Random
from typing import NamedTuple

from drivers.reading import Reading
from drivers.vehicle.charging import Controller, Engine
from drivers.vehicle.cranking import trace
from drivers.vehicle.iron import IronPhosphate
from drivers.vehicle.lead import LeadAcid
from drivers.vehicle.loads import Fridge, Household
from drivers.vehicle.network import alone, solve_joined, two_sources
from drivers.vehicle.plan import BatteryPlan, Plan
from drivers.vehicle.protection import Protection
from drivers.vehicle.sensors import Sensors
from drivers.vehicle.weather import Weather

TICK_S = 120.0
SLOW_S = 600.0
_LOADS_STOP_V = {True: 9.0, False: 10.4}   # lead-acid: electronics give up; lithium: its own switch opens
_DRAIN_STOPS_V = 5.0
_CUT_OFF_V = 0.4         # what a voltmeter shows behind an open switch
_PANEL_SHARE = 0.78      # of a panel's label that arrives: heat, dirt, cable, controller
_HEAT_J_PER_K_AH = 225.0   # of a lead-acid battery: a quarter of a kilogram an ampere-hour, 0.9 kJ/(kg K)
_LAG_S = {"house": 5.5 * 3600.0, "starter": 4.0 * 3600.0}


class State(NamedTuple):
    """The truth at the end of a step. Currents and voltages are means over it; positive into the battery.

    Fractions and ampere-hours are of the true present capacity at the 20 h rate and 25 °C.
    """

    at_s: float
    house_voltage_v: float
    house_current_a: float
    starter_voltage_v: float
    starter_current_a: float
    house_soc_frac: float
    house_charge_ah: float
    house_capacity_ah: float
    starter_soc_frac: float
    isolator_closed: bool
    engine_running: bool
    cranking: bool
    solar_current_a: float
    solar_possible_a: float      # what the panel could have given, had it not been held back
    alternator_current_a: float  # into the house: through the isolator or the DC-DC charger
    load_current_a: float        # all loads of the house together
    fridge_current_a: float
    house_temperature_c: float
    ambient_temperature_c: float
    starter_low_v: float         # lowest in the step
    fault: str                   # kinds in force, joined by "+"


def _battery(plan: BatteryPlan) -> LeadAcid | IronPhosphate:
    return IronPhosphate(plan) if plan.chemistry == "lfp" else LeadAcid(plan)


class VehicleSim:
    """One vehicle, from its plan. step() moves it and tells the truth, reading() what instruments saw."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.at_s = 0.0
        self.house = _battery(plan.house)
        self.starter = _battery(plan.starter)
        self._weather = Weather(plan)
        chance = Random(f"{plan.seed}/loads")
        self._fridge = Fridge(plan, chance)
        self._household = Household(plan, chance)
        self._chance = chance
        self._controller = Controller(plan)
        self.engine = Engine(plan, Random(f"{plan.seed}/engine"))
        self._sensors = Sensors(plan)
        self._faults: dict[str, float] = {}
        self._fault_names = ""
        self._isolator_fault = ""
        self._edges = sorted({t for f in plan.faults for t in (f.start_s, f.stop_s)})
        self._tick_at_s = 0.0
        self._last_tick_s = -TICK_S
        self._slow_s = 0.0
        self._house_c = self._starter_c = plan.mean_temperature_c
        self._panel_w = 0.0
        self._path_ohm = plan.path_ohm
        self._crank: float | None = None
        self._trace: tuple[tuple[float, float], ...] = ()
        self._stop_v = _LOADS_STOP_V[plan.house.chemistry != "lfp"]
        protection = plan.house.protection
        self._switches = Protection(protection, plan.house.label_ah) if protection is not None else None
        self._posts_v = self.house.voltage_v
        self.state = self._start()

    def _start(self) -> State:
        house, starter = self.house, self.starter
        soc = 1.0 - house.drawn_ah / house.capacity_ah
        return State(0.0, house.voltage_v, 0.0, starter.voltage_v, 0.0, soc, house.capacity_ah - house.drawn_ah,
                     house.capacity_ah, 1.0 - starter.drawn_ah / starter.capacity_ah, False, False, False, 0.0, 0.0,
                     0.0, 0.0, 0.0, self._house_c, self.plan.mean_temperature_c, starter.voltage_v, "")

    def reading(self) -> Reading:
        """What the instruments say of the last step."""
        reading = self._sensors.read(self.state, self._faults)
        if self._trace and reading.values:
            reading, self._trace = replace(reading, fast_starter=self._trace), ()
        return reading

    def step(self, dt_s: float) -> State:
        """Move on by dt_s (up to 120 s; finer steps are taken inside where the engine starts or stops)."""
        end = self.at_s + dt_s
        inner = self._inner(self.at_s, dt_s)
        if inner >= dt_s:
            self.state = self._advance(dt_s)
            return self.state
        hv = ha = sv = sa = sun = possible = alt = load = fridge = 0.0
        low, cranking = 99.0, False
        while (left := end - self.at_s) > 1e-6:
            h = min(self._inner(self.at_s, left), left)
            s = self._advance(h)
            w = h / dt_s
            hv += w * s.house_voltage_v
            ha += w * s.house_current_a
            sv += w * s.starter_voltage_v
            sa += w * s.starter_current_a
            sun += w * s.solar_current_a
            possible += w * s.solar_possible_a
            alt += w * s.alternator_current_a
            load += w * s.load_current_a
            fridge += w * s.fridge_current_a
            low = min(low, s.starter_low_v)
            cranking = cranking or s.cranking
        self.at_s = end
        self.state = s._replace(
            at_s=end, house_voltage_v=hv, house_current_a=ha, starter_voltage_v=sv, starter_current_a=sa,
            solar_current_a=sun, solar_possible_a=possible, alternator_current_a=alt, load_current_a=load,
            fridge_current_a=fridge, starter_low_v=low, cranking=cranking)
        return self.state

    def _inner(self, at_s: float, left_s: float) -> float:
        """How long the next inner step may be."""
        drive = self.engine.coming()
        if drive is None or at_s + left_s <= drive.start_s - 1.0:
            return left_s
        since = at_s - drive.start_s
        if since < -1e-6:
            return max(min(left_s, -since), 1e-3)
        if since < drive.crank_s - 1e-6:
            return min(0.5, drive.crank_s - since)
        if since < drive.crank_s + 4.0:
            return 1.0
        if since < 90.0:
            return 5.0
        before_stop = drive.stop_s - at_s
        if drive.starts and 1e-6 < before_stop < left_s:
            return before_stop
        return left_s

    def _advance(self, dt: float) -> State:
        at = self.at_s
        if at >= self._tick_at_s - 1e-6:
            self._tick(at)
        plan, house, starter, engine = self.plan, self.house, self.starter, self.engine
        house_v = self._posts_v
        engine.step(at, dt, starter.voltage_v, house_v, self._weather.air_c, self._isolator_fault)
        closed = engine.closed
        fridge = self._fridge.current_a(dt, house_v)
        load = fridge + self._household.current_a(at, dt)
        possible = self._panel_w / (house_v if house_v > 10.0 else 10.0)
        starter_load = plan.starter_standby_a + self._drain_a
        alternator = 0.0
        if engine.running:
            starter_load += plan.running_load_a
            alternator = engine.alternator_a
        joint = closed and not (self._flutter and self._chance.random() < self._flutter)
        # which way the current flows decides on the batteries' lines: guess, solve, and turn what was wrong
        up = house.current_a > 0.0 if joint else possible > load or engine.dc_dc
        starter_up = alternator > 0.0 or (joint and starter.current_a > 0.0)
        for _ in range(3):
            house.prepare(dt, up)
            starter.prepare(dt, starter_up)
            pull = 0.0
            if engine.cranking > 0.0:
                pull = starter.e_v / (starter.r_ohm + plan.starter_motor_ohm)
            draw = starter_load + pull * engine.cranking
            into = 0.0
            if joint:
                ih, i_s, sun, alt = solve_joined(
                    (house.e_v, house.r_ohm), (starter.e_v, starter.r_ohm), self._path_ohm, load, draw,
                    (possible, self._controller.limit_v), (alternator, engine.alternator_v))
                into = ih + load - sun
            else:
                if engine.dc_dc:
                    ih, sun, into = two_sources(house.e_v, house.r_ohm, load, (possible, self._controller.limit_v),
                                                (plan.dc_dc_a, plan.absorption_v))
                    draw += into * house_v / (0.9 * starter.voltage_v)
                else:
                    ih, sun = alone(house.e_v, house.r_ohm, load, possible, self._controller.limit_v)
                i_s, alt = alone(starter.e_v, starter.r_ohm, draw, alternator, engine.alternator_v)
            right, starter_right = house.fits(ih), starter.fits(i_s)
            if right and starter_right:
                break
            up, starter_up = up is right, starter_up is starter_right
        low = starter.e_v - starter.r_ohm * pull if pull else None
        if house.e_v + house.r_ohm * ih < self._stop_v:
            shed = min((self._stop_v - house.e_v) / house.r_ohm - ih, load)
            ih += shed
            load -= shed
        if starter.e_v + starter.r_ohm * i_s < _DRAIN_STOPS_V and not engine.cranking:
            i_s += min((_DRAIN_STOPS_V - starter.e_v) / starter.r_ohm - i_s, draw)
        if pull and self._crank is None:
            self._crank = starter.voltage_v
        posts_v = None
        if self._is_cut_off(ih):
            ih, sun, into, load, posts_v = self._without_house(ih, load, possible, joint)
            if joint or engine.dc_dc:
                drawn = starter_load + pull * engine.cranking + (into if joint else into * plan.absorption_v / (0.9 * starter.voltage_v))
                i_s, alt = alone(starter.e_v, starter.r_ohm, drawn, alternator, engine.alternator_v)
        house.settle(ih)
        starter.settle(i_s)
        self._posts_v = house.voltage_v if posts_v is None else starter.voltage_v if joint else posts_v
        self.at_s = at + dt
        if self._crank is not None and not engine.cranking:
            self._write_trace(self._crank)
        charge = house.capacity_ah - house.drawn_ah
        sv = starter.voltage_v
        return State(
            self.at_s, self._posts_v, ih, sv, i_s, charge / house.capacity_ah, charge, house.capacity_ah,
            1.0 - starter.drawn_ah / starter.capacity_ah, closed, engine.running, engine.cranking > 0.0, sun, possible,
            into, load, fridge, self._house_c, self._weather.air_c, sv if low is None else min(low, sv),
            self._fault_names)

    def _is_cut_off(self, wanted_a: float) -> bool:
        """Whether the battery's own switches, or a fault to order, keep this current from flowing."""
        switches, faults, house = self._switches, self._faults, self.house
        if switches is not None:
            switches.step(house.e_v + house.r_ohm * house.current_a, house.current_a, self._house_c, wanted_a)
        if wanted_a > 0.0:
            return "charge_path_open" in faults or switches is not None and switches.charge_open
        return "discharge_path_open" in faults or switches is not None and switches.discharge_open

    def _without_house(self, wanted_a: float, load: float, possible: float, joint: bool) -> tuple[float, float, float, float, float]:
        """Battery, sun and engine-side current, load [A], and the voltage at the posts, while the battery is cut off."""
        sun = min(possible, load)
        if joint:
            return 0.0, sun, load - sun, load, 0.0
        if wanted_a > 0.0:      # the chargers carry the loads, and the one that does sets the voltage
            into = load - sun
            return 0.0, sun, into, load, self._controller.limit_v if possible > load else self.plan.absorption_v
        return 0.0, 0.0, 0.0, 0.0, _CUT_OFF_V

    def _write_trace(self, before_v: float) -> None:
        """The fast voltage of the start that is over, from before_v [V] on."""
        drive, self._crank = self.engine.latest, None
        if self.plan.sensor.fast_starter and drive is not None:
            self._trace = trace(drive.start_s, drive.crank_s, drive.starts, before_v, self.starter.ohmic_ohm,
                                self.plan.starter_motor_ohm, self._chance)

    def _tick(self, at: float) -> None:
        """Light, switchings and the controller's stage; every fifth time, or at a fault's edge, the slow things."""
        plan = self.plan
        since = at - self._last_tick_s
        self._last_tick_s = at
        weather = self._weather
        weather.tick(at, since)
        self._panel_w = plan.panel_w * _PANEL_SHARE * weather.light_w_per_m2 / 1000.0
        self._controller.tick(since, self._posts_v, self._panel_w > 2.0, self._house_c)
        self._household.begin_days(at, weather.sunset_hour)
        self._slow_s += since
        edge = bool(self._edges) and self._edges[0] <= at + 1e-6
        if edge or self._slow_s >= SLOW_S - 1e-6 or at == 0.0:
            if edge:
                self._edges.pop(0)
            self._order_faults(at)
            self._slow(at, self._slow_s)
            self._slow_s = 0.0
        self._tick_at_s = at + TICK_S
        if self._edges:
            self._tick_at_s = min(self._tick_at_s, self._edges[0])

    def _slow(self, at: float, since: float) -> None:
        """Temperatures, ageing, and what follows from them."""
        plan, air_c = self.plan, self._weather.air_c
        awake = 0.25 < (plan.start_hour / 24.0 + at / 86400.0) % 1.0 < 0.95
        self._fridge.warm(air_c + 2.5, awake and self._chance.random() < since / 5400.0, self._household.lived_in)
        self._house_c += (air_c + 1.5 + self._faults.get("house_hot", 0.0) - self._house_c) * (1.0 - exp(-since / _LAG_S["house"]))
        if "thermal_runaway" in self._faults and isinstance(self.house, LeadAcid):
            # oxygen that meets the negative plate turns all of the gassing power into heat
            self._house_c += self.house.gas_a * self.house.voltage_v * since / (_HEAT_J_PER_K_AH * plan.house.label_ah)
        bay_c = air_c + (28.0 if self.engine.running else 0.0)
        self._starter_c += (bay_c - self._starter_c) * (1.0 - exp(-since / _LAG_S["starter"]))
        share = min(at / (plan.days * 86400.0), 1.0)
        for battery, own, faded in ((self.house, plan.house, self._faults.get("house_faded", 1.0)),
                                    (self.starter, plan.starter, 1.0)):
            end = own.true_capacity_frac if own.capacity_end_frac is None else own.capacity_end_frac
            ohms = 1.0 if own.resistance_end_factor is None else own.resistance_end_factor
            battery.age((own.true_capacity_frac + share * (end - own.true_capacity_frac)) * faded,
                        1.0 + share * (ohms - 1.0))
        self.house.warm(self._house_c)
        self.starter.warm(self._starter_c)

    def _order_faults(self, at: float) -> None:
        active = {f.kind: f for f in self.plan.faults if f.start_s <= at + 1e-6 < f.stop_s}
        self._faults = {kind: f.amount for kind, f in active.items()}
        self._fault_names = "+".join(active)
        self._drain_a = self._faults.get("starter_drain", 0.0)
        self._flutter = self._faults.get("isolator_intermittent", 0.0)
        self._isolator_fault = next((k for k in ("isolator_stuck_closed", "isolator_stuck_open") if k in active), "")
        if isinstance(self.house, LeadAcid):
            self.house.gas_factor = self._faults.get("thermal_runaway", 1.0)
        self.starter.fault_factor = self._faults.get("starter_weak", 1.0)
        self.starter.fault_v = self._faults.get("starter_cell_short", 0.0)
        self._path_ohm = self.plan.path_ohm
        if "path_resistance" in active:
            f = active["path_resistance"]
            stop = min(f.stop_s, self.plan.days * 86400.0)
            self._path_ohm += f.amount * (at - f.start_s) / max(stop - f.start_s, 1.0)
        if "load_unseen" in active:
            self._faults["load_unseen_now"] = -self._faults["load_unseen"]
