"""Two batteries, their join, an engine and a sun, drawn at random: a plant of its own for engine, isolator and path.

A small circuit is solved at every step: each battery a source behind its resistance with a slow part that
charging fills and rest empties, an alternator and a solar charger with limits of voltage and current. No
formula, threshold or time constant comes from the trackers. The truth is what the circuit did.
"""
from dataclasses import dataclass, field
from math import exp, pi, sin

import numpy as np

from monitor.battery.label import Battery, Vehicle
from monitor.sample import Sample

#: Rest voltage at charge 0, 0.25, 0.5, 0.75 and 1.
REST_V = {
    "flooded": (11.75, 12.05, 12.25, 12.47, 12.68), "agm": (11.75, 12.12, 12.42, 12.70, 12.95),
    "gel": (11.78, 12.12, 12.40, 12.66, 12.90), "lfp": (12.0, 13.10, 13.20, 13.28, 13.42),
}


@dataclass(frozen=True)
class Rig:
    """A vehicle: batteries, join, alternator, instruments."""

    join: str                       # "engine" (a relay on the engine's own wire), "voltage", "dual", or "dc_dc"
    alternator: str                 # "plain" or "smart"
    starter: str
    house: str
    starter_ah: float
    house_ah: float
    starter_ohm: float
    house_ohm: float
    path_ohm: float
    set_v: float
    most_a: float
    close_v: float
    open_v: float
    delay_s: float
    sun_a: float
    fridge_a: float
    standby_a: float
    spacing_s: float
    gain_s: float
    gain_h: float
    zero_a: float
    noise_v: float
    step_v: float
    told: bool = False              # the owner said what opens the relay

    @property
    def vehicle(self) -> Vehicle:
        """What its owner would enter: the labels, and what opens the relay where he knows it."""
        follows = "engine" if self.join == "engine" else "voltage"
        return Vehicle(Battery("house", self.house, self.house_ah), Battery("starter", self.starter, self.starter_ah),
                       isolator_follows=follows if self.told and self.join != "dc_dc" else "unknown")


def rig(rng: np.random.Generator, join: str, alternator: str = "plain", spacing_s: float | None = None) -> Rig:
    """A vehicle drawn at random with this kind of join and alternator."""
    house = str(rng.choice(["agm", "flooded", "gel", "lfp"])) if join == "dc_dc" else str(
        rng.choice(["agm", "flooded", "gel"]))
    size = rng.uniform(45, 110)
    return Rig(
        join, alternator, str(rng.choice(["flooded", "agm"])), house, size, rng.uniform(60, 220),
        rng.uniform(0.004, 0.010) * 70 / size, rng.uniform(0.004, 0.012) * (3 if house == "lfp" else 1),
        rng.uniform(0.006, 0.035), rng.uniform(13.9, 14.6), rng.uniform(70, 150), rng.uniform(13.2, 13.5),
        rng.uniform(12.6, 12.85), rng.uniform(2, 25), rng.choice([0.0, rng.uniform(3, 15)]), rng.uniform(3, 6),
        rng.uniform(0.008, 0.03), spacing_s or float(rng.choice([10.0, 10.0, 30.0, 30.0, 120.0])),
        rng.uniform(-0.0015, 0.0015), rng.uniform(-0.0015, 0.0015), rng.uniform(-0.06, 0.06),
        rng.uniform(0.0005, 0.003), float(rng.choice([0.00125, 0.004, 0.005])),
    )


@dataclass(frozen=True)
class Fault:
    """What goes wrong and when: stuck_closed, stuck_open, intermittent, drain, path (resistance times amount), or alternator (dead).

    Nothing is wrong with "heavy": much is drawn from the house for three hours after each stop, two thirds of the time.
    """

    kind: str
    from_s: float
    amount: float = 0.0


@dataclass
class _Cell:
    """One battery: charge, a fast and a slow part of its voltage."""

    rest_v: tuple[float, ...]
    size_ah: float
    ohm: float
    charge: float
    fast_v: float = 0.0
    slow_v: float = 0.0
    amps: float = 0.0

    def source(self, warm_c: float, seconds: float) -> tuple[float, float]:
        """Voltage and conductance over a step: the fast part is taken at its end, else two joined cells would swing."""
        left = self._left(seconds)
        return self.rest_now_v(warm_c) + self.fast_v * left, 1 / (self.ohm + self._held_ohm() * (1 - left))

    def _left(self, seconds: float) -> float:
        return exp(-seconds / (35 if self.fast_v > 0 else 200))

    def _held_ohm(self) -> float:
        full = 0.012 / (1.08 - min(self.charge, 1.0)) if self.amps > 0 else 0.0
        return (0.006 + full) * 100 / self.size_ah

    def rest_now_v(self, warm_c: float) -> float:
        place = min(max(self.charge, 0.0), 0.9999) * 4
        low = int(place)
        rest = self.rest_v[low] + (self.rest_v[low + 1] - self.rest_v[low]) * (place - low)
        return rest + self.slow_v + 0.0011 * (warm_c - 20)

    def passes(self, amps: float, seconds: float) -> None:
        taken = amps * (0.97 if amps > 0 else 1.0)
        self.charge = min(1.0, self.charge + taken * seconds / 3600 / self.size_ah)
        part = amps * 100 / self.size_ah
        left = self._left(seconds)
        self.fast_v = min(self.fast_v * left + amps * self._held_ohm() * (1 - left), 0.9)
        self.amps = amps
        goal = min(part * (0.05 if amps > 0 else 0.008), 0.4)
        tau_s = 3000 if abs(goal) > abs(self.slow_v) else 9000 if amps > -0.3 else 4500
        self.slow_v += (goal - self.slow_v) * (1 - exp(-seconds / tau_s))


@dataclass
class Outing:
    """Readings with the truth beside them."""

    samples: list[Sample] = field(default_factory=list)
    running: list[bool] = field(default_factory=list)
    closed: list[bool] = field(default_factory=list)
    drives: tuple[tuple[float, float], ...] = ()


def drives(rng: np.random.Generator, days: float) -> tuple[tuple[float, float], ...]:
    """Engine runs: errands of minutes, long drives, days without; with a halt at the pump now and then."""
    runs: list[tuple[float, float]] = []
    at_s = rng.uniform(3, 10) * 3600
    while at_s < days * 86400 - 4 * 3600:
        long_s = rng.choice([rng.uniform(400, 1200), rng.uniform(1800, 5400), rng.uniform(5400, 14000)])
        runs.append((at_s, at_s + long_s))
        if rng.random() < 0.3:
            again_s = at_s + long_s + rng.uniform(180, 900)
            runs.append((again_s, again_s + rng.uniform(600, 5000)))
        at_s = runs[-1][1] + rng.choice([rng.uniform(1, 4), rng.uniform(8, 20), rng.uniform(20, 50)]) * 3600
    return tuple(runs)


def _smart_v(rng: np.random.Generator, at_s: float, held: tuple[float, float]) -> tuple[float, float]:
    """Voltage an alternator under engine control is told to hold, and until when."""
    if at_s < held[1]:
        return held
    kind = rng.random()
    volts = rng.uniform(14.4, 15.0) if kind < 0.25 else rng.uniform(12.35, 12.9) if kind < 0.7 else rng.uniform(13.0, 13.8)
    return volts, at_s + rng.exponential(60 if kind < 0.25 else 400) + 10


class _Journey:
    """A vehicle under way: what it holds from step to step, and what each part of it does in one."""

    def __init__(self, rng: np.random.Generator, rig: Rig, days: float, runs: tuple[tuple[float, float], ...], fault: Fault | None,
                 mean_c: float) -> None:
        self.rng, self.rig, self.runs, self.fault, self.mean_c = rng, rig, runs, fault, mean_c
        self.starter = _Cell(REST_V[rig.starter], rig.starter_ah * rng.uniform(0.75, 1.0), rig.starter_ohm, rng.uniform(0.8, 0.98))
        self.house = _Cell(REST_V[rig.house], rig.house_ah * rng.uniform(0.8, 1.05), rig.house_ohm, rng.uniform(0.55, 0.95))
        self.fridge_s = rng.uniform(600, 1200)
        self.lamps = [(d * 86400 + rng.uniform(18, 20) * 3600, rng.uniform(1, 4) * 3600, rng.uniform(0.5, 6))
                      for d in range(int(days) + 1)]
        self.period_s, self.clear = rng.uniform(2000, 4200), rng.uniform(0.3, 1.0, int(days) + 2)
        self.edges, self.next_edge = sorted(t for run in runs for t in run), 0
        self.at_s = self.want_s = self.flicker_s = self.idle_until = 0.0
        self.closed = self.joined = self.running = self.idle = False
        self.smart = (14.4, 0.0)
        self.vs = self.vh = self.amps_h = self.warm_c = 0.0

    def near_an_edge(self) -> bool:
        """Whether the engine starts or stops within a quarter of an hour."""
        while self.next_edge < len(self.edges) and self.edges[self.next_edge] < self.at_s - 900:
            self.next_edge += 1
        return self.next_edge < len(self.edges) and abs(self.edges[self.next_edge] - self.at_s) < 900

    def driven(self) -> bool:
        """Whether the engine runs now."""
        return any(a <= self.at_s < b for a, b in self.runs[max(0, self.next_edge // 2 - 1):self.next_edge // 2 + 2])

    def step(self, step_s: float) -> None:
        """One step further."""
        self.at_s += step_s
        self.running = self.driven()
        hour = self.at_s / 3600 % 24
        self.warm_c = self.mean_c + 5 * sin(2 * pi * (hour - 9) / 24)
        house_load, sun_a, starter_load = self._house_load(hour), self._sun_a(hour), self._starter_load()
        self._relay()
        self.joined = self._is_joined()
        self._circuit(step_s, starter_load, house_load, sun_a)

    def _fault(self, kind: str) -> float | None:
        """The amount of a fault that is on now."""
        return self.fault.amount if self.fault is not None and self.at_s >= self.fault.from_s and self.fault.kind == kind else None

    def _house_load(self, hour: float) -> float:
        load = 0.35 + (self.rig.fridge_a if self.at_s % self.period_s < self.fridge_s else 0.0)
        load += sum(a for t, long_s, a in self.lamps if t <= self.at_s < t + long_s) if hour >= 17 or hour < 1 else 0.0
        if self.at_s % 3000 < 2000 and any(b <= self.at_s < b + 10800 for _, b in self.runs):
            load += self._fault("heavy") or 0.0
        return 0.05 if self.house.charge < 0.1 else load       # the low-voltage switch has opened

    def _sun_a(self, hour: float) -> float:
        if not (self.rig.sun_a and 6 < hour < 20):
            return 0.0
        cloud = self.clear[int(self.at_s // 86400)] * (0.7 + 0.3 * sin(self.at_s / 700) * sin(self.at_s / 1900 + 1))
        return self.rig.sun_a * max(0.0, sin(pi * (hour - 6) / 14)) * max(cloud, 0.05)

    def _starter_load(self) -> float:
        load = self.rig.standby_a + (self._fault("drain") or 0.0)
        if self.running:
            load += 14 + 6 * sin(self.at_s / 300)
            if self.at_s > self.idle_until:
                self.idle, self.idle_until = self.rng.random() < 0.2, self.at_s + self.rng.exponential(150) + 15
        return load

    def _relay(self) -> None:
        rig, more_v = self.rig, 0.05 if self.closed else 0.1
        turn_v = rig.open_v if self.closed else rig.close_v
        wants = self.running if rig.join in ("engine", "dc_dc") else (
            self.vs > turn_v or rig.join == "dual" and self.vh > turn_v + more_v)
        if wants == self.closed or rig.join == "dc_dc":
            self.want_s = self.at_s
        elif self.at_s - self.want_s >= rig.delay_s or (rig.join == "engine" and self.closed):
            self.closed, self.want_s = wants, self.at_s

    def _is_joined(self) -> bool:
        """What the contact does, which a fault may keep from what the relay was told."""
        joined = self.closed and self.rig.join != "dc_dc"
        if self._fault("stuck_closed") is not None:
            return True
        if self._fault("stuck_open") is not None:
            return False
        flicker_s = self._fault("intermittent")
        if flicker_s is not None and joined and self.running:
            if self.at_s > self.flicker_s:
                self.flicker_s = self.at_s + self.rng.exponential(flicker_s)
            return self.flicker_s - self.at_s > 45
        return joined

    def _circuit(self, step_s: float, starter_load: float, house_load: float, sun_a: float) -> None:
        """Conductances and sources at both nodes, solved, and what that does to the batteries."""
        rig, smart = self.rig, self.rig.alternator == "smart"
        path_ohm = rig.path_ohm * (self._fault("path") or 1.0)
        (es, gs), (eh, gh) = self.starter.source(self.warm_c, step_s), self.house.source(self.warm_c, step_s)
        if smart and self.running:
            self.smart = _smart_v(self.rng, self.at_s, self.smart)
        set_v = self.smart[0] if smart else rig.set_v - 0.008 * (self.warm_c - 20)
        dc_a = 0.0
        if rig.join == "dc_dc" and self.running and self.vs > 13.0 and self._fault("stuck_open") is None:
            dc_a = min(25.0, max(0.0, (14.3 - self.vh) * 120 + 2))
        self.vs, self.vh, amps_s, self.amps_h = _solve(
            es, gs, eh, gh, 1 / path_ohm if self.joined else 0.0, starter_load + dc_a * self.vh / max(self.vs, 10) / 0.9,
            house_load - dc_a, set_v if self.running else 0.0,
            0.0 if self._fault("alternator") is not None else rig.most_a * (0.45 if self.idle else 1.0), sun_a)
        self.starter.passes(amps_s, step_s)
        self.house.passes(self.amps_h, step_s)


def outing(rng: np.random.Generator, rig: Rig, days: float, runs: tuple[tuple[float, float], ...] | None = None,
           fault: Fault | None = None, mean_c: float | None = None) -> Outing:
    """So many days of a vehicle's life, with one fault or none."""
    runs = drives(rng, days) if runs is None else runs
    out = Outing(drives=runs)
    life = _Journey(rng, rig, days, runs, fault, rng.uniform(-3, 28) if mean_c is None else mean_c)
    sums, count, last_s = [0.0, 0.0, 0.0], 0, 0.0
    while life.at_s < days * 86400:
        busy = life.near_an_edge() or life.driven()
        life.step(min(10.0 if busy else 30.0, rig.spacing_s))
        sums = [a + b for a, b in zip(sums, (life.vh, life.amps_h, life.vs), strict=True)]
        count += 1
        if life.at_s - last_s >= (rig.spacing_s if busy else max(rig.spacing_s, 30.0)) - 0.5:
            noise = rng.normal(0, rig.noise_v, 2)
            out.samples.append(Sample(
                life.at_s, _read(sums[0] / count * (1 + rig.gain_h) + noise[0], rig.step_v),
                round(sums[1] / count + rig.zero_a + rng.normal(0, 0.03), 2),
                _read(sums[2] / count * (1 + rig.gain_s) + noise[1], rig.step_v), round(life.warm_c + 2, 1),
                ambient_temperature_c=round(life.warm_c, 1)))
            out.running.append(life.running)
            out.closed.append(life.joined)
            last_s, sums, count = life.at_s, [0.0, 0.0, 0.0], 0
    return out


def _read(volts: float, step_v: float) -> float:
    return round(round(volts / step_v) * step_v, 5)


def _solve(es: float, gs: float, eh: float, gh: float, g: float, load_s: float, load_h: float, set_v: float,
           most_a: float, sun_a: float) -> tuple[float, float, float, float]:
    """Both voltages and both battery currents; alternator and sun give up to their limits of voltage and current."""
    alternator = "volts" if set_v else "none"
    sun = "amps" if sun_a else "none"
    for _ in range(4):
        into_s, into_h, more_s, more_h = es * gs - load_s, eh * gh - load_h, 0.0, 0.0
        if alternator == "volts":
            more_s, into_s = 200.0, into_s + 200.0 * set_v
        elif alternator == "amps":
            into_s += most_a
        if sun == "volts":
            more_h, into_h = 60.0, into_h + 60.0 * 14.5
        elif sun == "amps":
            into_h += sun_a
        a, d = gs + g + more_s, gh + g + more_h
        det = a * d - g * g
        vs, vh = (into_s * d + into_h * g) / det, (into_h * a + into_s * g) / det
        given_a = 200.0 * (set_v - vs)
        again = False
        if alternator == "volts" and given_a > most_a:
            alternator, again = "amps", True
        elif alternator == "volts" and given_a < 0:
            alternator, again = "none", True
        if sun == "amps" and vh > 14.5:
            sun, again = "volts", True
        elif sun == "volts" and 60.0 * (14.5 - vh) < 0:
            sun, again = "none", True
        if not again:
            break
    return vs, vh, (vs - es) * gs, (vh - eh) * gh
