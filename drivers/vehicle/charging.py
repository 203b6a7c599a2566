"""The solar charge controller and the engine with its alternator and isolator."""
from random import Random

from drivers.vehicle.plan import Drive, Plan


class Controller:
    """Sun into the house battery: all there is, then an absorption voltage for some hours, then float."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self.limit_v = plan.absorption_v
        self._held_s = 0.0
        self._low_s = 0.0
        self._floating = False

    def tick(self, tick_s: float, voltage_v: float, sun: bool, battery_c: float) -> None:
        """Move its stage on by tick_s.

        tick_s: how long [s]; voltage_v: at the battery [V]; sun: whether the panel gives anything; battery_c: temperature of the
        battery [°C].
        """
        plan, more_v = self._plan, self._plan.compensation_v_per_k * (25.0 - battery_c)
        voltage_v -= more_v
        if not sun:
            self._held_s = max(self._held_s - 0.5 * tick_s, 0.0)
            if self._floating:
                self._low_s += tick_s
                if self._low_s > 3.0 * 3600.0:
                    self._floating, self._held_s = False, 0.0
        elif self._floating:
            self._low_s = self._low_s + tick_s if voltage_v < plan.float_v - 0.8 else 0.0
            if self._low_s > 900.0:
                self._floating, self._held_s = False, 0.0
        elif voltage_v > plan.absorption_v - 0.06:
            self._held_s += tick_s
            if self._held_s > plan.absorption_h * 3600.0:
                self._floating, self._low_s = True, 0.0
        self.limit_v = (plan.float_v if self._floating else plan.absorption_v) + more_v


class Engine:
    """Cranking, running, the alternator's voltage and limit, and when the isolator joins the batteries."""

    def __init__(self, plan: Plan, chance: Random) -> None:
        self._plan = plan
        self._random = chance
        self.drives = sorted(plan.drives, key=lambda d: d.start_s)
        self._next = 0
        self.running = False
        self.ignition = False
        self.latest: Drive | None = None    # whose start was the last
        self.cranking = 0.0                 # share of the step in which the starter motor turns
        self.alternator_v = plan.alternator_v
        self.alternator_a = 0.0
        self.closed = False
        self.dc_dc = False
        self._above_s = self._below_s = self._segment_s = 0.0
        self._bounce = 0.0
        self._running_s = 0.0

    def coming(self) -> Drive | None:
        """The drive that is on or comes next."""
        return self.drives[self._next] if self._next < len(self.drives) else None

    def step(self, at_s: float, dt: float, starter_v: float, house_v: float, air_c: float, fault: str) -> None:
        """Set what holds during the step from at_s on.

        at_s: when the step begins [s]; dt: how long it is [s]; starter_v, house_v: at the batteries' posts [V]; air_c: outside
        [°C]; fault: the scenario's, "" for none.
        """
        drive = self.coming()
        self.cranking = 0.0
        if drive is not None:
            end = at_s + dt
            cranked = drive.start_s + drive.crank_s
            if drive.start_s < end and cranked > at_s:
                self.latest = drive
                self.cranking = (min(cranked, end) - max(drive.start_s, at_s)) / dt
            self.running = drive.starts and cranked <= at_s + 1e-6 < drive.stop_s
            self.ignition = drive.start_s - 5.0 <= at_s < (drive.stop_s if drive.starts else cranked + 5.0)
            if at_s >= (drive.stop_s if drive.starts else cranked) - 1e-6:
                self._next += 1
                self.running = self.ignition = False
        plan = self._plan
        if self.running:
            self._running_s += dt
            self._segment_s -= dt
            if self._segment_s <= 0.0:
                r = self._random
                self._segment_s = r.uniform(25.0, 240.0)
                idle = r.random() < 0.22
                self.alternator_a = plan.alternator_limit_a * (r.uniform(0.35, 0.55) if idle else r.uniform(0.8, 1.0))
                if plan.alternator == "smart":
                    u = r.random()
                    self.alternator_v = 12.75 if u < 0.45 else 13.4 if u < 0.7 else 14.9
                else:
                    self.alternator_v = plan.alternator_v - 0.012 * (air_c - 20.0) - (0.08 if idle else 0.0)
        else:
            self._running_s = self._segment_s = 0.0
        if fault == "isolator_stuck_closed":
            self.closed = True
        elif fault == "isolator_stuck_open" or plan.charging == "dc_dc":
            self.closed = False
        elif self.cranking == 0.0:
            self._sense(dt, starter_v, house_v)
        self.dc_dc = plan.charging == "dc_dc" and self.running and self._running_s > 20.0 and starter_v > 12.4

    def _sense(self, dt: float, starter_v: float, house_v: float) -> None:
        plan = self._plan
        high = starter_v > 13.3 and (self.running or plan.isolator_senses != "engine")
        if plan.isolator_senses == "both":
            high = high or house_v > 13.3
        self._above_s = self._above_s + dt if high else 0.0
        low = max(starter_v, house_v) < 12.75
        self._below_s = self._below_s + dt if low else 0.0
        if self.closed:
            if (plan.isolator_senses == "engine" and not self.running) or self._below_s >= 30.0:
                self.closed = False
                self._above_s = 0.0
        elif self._above_s >= 15.0:
            self.closed = True
            self._below_s = 0.0
