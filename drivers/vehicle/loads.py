"""What draws current from the house battery: a fridge with a thermostat, and a household's day.

The fridge is a box that heat leaks into and a compressor that carries it out, so its duty follows
the air by itself. Everything else is drawn as a list of switchings for each day.
"""
from math import exp
from random import Random

from drivers.vehicle.plan import Plan

GROUPS = ("lights", "pump", "laptop", "guests", "standby", "extra")
_INRUSH_AS = 1.6    # ampere-seconds per ampere beyond the running current when a compressor starts


class Fridge:
    """A compressor behind a thermostat and a low-voltage switch."""

    def __init__(self, plan: Plan, chance: Random) -> None:
        self._plan = plan
        self._random = chance
        self._inside_c = plan.fridge_set_c + chance.uniform(-1.0, 1.0)
        self.running = False
        self._cut = False
        self._low_s = 0.0
        self._band_c = 1.3 * chance.uniform(0.8, 1.25)
        self._pull_a = plan.fridge_a
        self._leak = plan.fridge_size / (5.5 * 3600.0)

    def warm(self, room_c: float, opened: bool, switched_on: bool) -> None:
        """Set what follows the air [°C]; opened: somebody takes something out.

        room_c: air around it [°C]; switched_on: the compressor may run.
        """
        self.switched_on = switched_on
        over = room_c - 25.0
        self._room_c = room_c
        self._cool = 11.5 / 3600.0 * exp(-0.012 * over)       # K per second that the compressor takes out
        self._running_a = self._plan.fridge_a * (1.0 + 0.006 * over)
        if opened:
            self._inside_c += self._random.uniform(0.2, 0.9)

    def current_a(self, dt: float, voltage_v: float) -> float:
        """Mean current over the coming dt seconds [A]."""
        plan = self._plan
        if voltage_v < plan.cutout_v:
            self._low_s += dt
            if self._low_s >= 30.0:
                self._cut = True
        else:
            self._low_s = 0.0
            if self._cut and voltage_v > plan.cutin_v:
                self._cut = False
        started = False
        if self._cut or not self.switched_on:
            self.running = False
        elif self._inside_c > plan.fridge_set_c + self._band_c:
            started = not self.running
            self.running = True
        elif self._inside_c < plan.fridge_set_c - self._band_c:
            self.running = False
        self._inside_c += dt * self._leak * (self._room_c - self._inside_c)
        if not self.running:
            return 0.0
        self._inside_c -= dt * self._cool
        if not started:
            return self._running_a
        return self._running_a * (1.0 + min(_INRUSH_AS / dt, 1.8))


class Household:
    """Lights, pump, laptop, guests: switchings drawn a day at a time, integrated exactly over any step."""

    def __init__(self, plan: Plan, chance: Random) -> None:
        self._plan = plan
        self._random = chance
        self._edges: list[tuple[float, int, float]] = []     # (when, group, change of amperes)
        self._next = 0
        self._until_s = 0.0
        self._on = [0.0] * len(GROUPS)
        self._on[4] = plan.standby_a
        self._total = plan.standby_a
        self._day = int(plan.start_hour // 24)
        self.lived_in = True
        self._sunset_hour = 19.0
        for first, last, amps in plan.extra_a:
            self._block(5, first, last, amps)
        self._edges.sort()

    def begin_days(self, at_s: float, sunset_hour: float) -> None:
        """Draw the coming day if at_s has reached it."""
        if at_s < self._until_s:
            return
        first = self._until_s == 0.0
        plan, r = self._plan, self._random
        midnight = at_s if not first else -plan.start_hour * 3600.0
        self._until_s = midnight + 86400.0
        hour = 3600.0
        self.lived_in = self._day not in plan.home_days
        if not self.lived_in:
            self._day += 1
            return
        guests = any(a <= self._day <= b for a, b in plan.guest_days)
        more = 1.6 if guests else 1.0
        on = max(sunset_hour - 0.4 + r.gauss(0.0, 0.2), 17.0)
        bed = plan.bedtime_hour + r.gauss(0.0, 0.35) + (0.8 if guests else 0.0)
        if plan.lights_a > 0.0:
            for share, a, b in ((0.5, on, bed), (0.5 * more, on + r.uniform(0.2, 1.2), bed - r.uniform(0.1, 0.9)),
                                (0.25, bed, bed + r.uniform(0.1, 0.6))):
                self._block(0, midnight + a * hour, midnight + b * hour, plan.lights_a * share)
            if sunset_hour < 20.0 and r.random() < 0.6:
                rise = midnight + 6.5 * hour
                self._block(0, rise, rise + r.uniform(0.3, 1.2) * hour, plan.lights_a * 0.6)
        litres = plan.water_l_per_day * more * r.uniform(0.6, 1.5)
        while litres > 0.0 and plan.pump_a > 0.0:
            used = min(r.expovariate(1.0 / 1.6) + 0.3, litres + 0.3)
            start = midnight + (r.triangular(6.5, 23.0, 8.5) if r.random() < 0.4 else r.uniform(7.0, 22.5)) * hour
            self._block(1, start, start + used * 9.0, plan.pump_a * r.uniform(0.9, 1.1))
            litres -= used
        if plan.laptop_wh_per_day > 0.0 and r.random() < 0.85:
            left = plan.laptop_wh_per_day * more * r.uniform(0.4, 1.6) / 12.5
            while left > 0.1:
                amps = r.uniform(2.0, 4.5)
                long = min(left / amps, r.uniform(0.4, 2.2))
                start = midnight + r.uniform(8.5, 21.0) * hour
                self._block(2, start, start + long * hour, amps)
                self._block(2, start + long * hour, start + (long + 0.5) * hour, 0.35 * amps)
                left -= amps * (long + 0.175)
        if guests:
            self._block(3, midnight + 17.5 * hour, midnight + (23.0 + r.uniform(0.0, 1.0)) * hour, r.uniform(1.2, 2.4))
            self._block(3, midnight + r.uniform(9.0, 12.0) * hour, midnight + r.uniform(13.0, 16.5) * hour, 2.0)
        self._day += 1
        self._edges = sorted(self._edges[self._next:])
        self._next = 0

    def _block(self, group: int, start_s: float, stop_s: float, amps: float) -> None:
        if stop_s > start_s:
            self._edges.append((start_s, group, amps))
            self._edges.append((stop_s, group, -amps))

    def current_a(self, at_s: float, dt: float) -> float:
        """Mean current from at_s over dt seconds [A]; exact for switchings inside the step."""
        edges, k = self._edges, self._next
        end = at_s + dt
        if k >= len(edges) or edges[k][0] >= end:
            return self._total
        mean = self._total
        while k < len(edges) and edges[k][0] < end:
            when, group, change = edges[k]
            mean += change * (end - max(when, at_s)) / dt
            self._on[group] += change
            k += 1
        self._next = k
        self._total = sum(self._on)
        return mean
