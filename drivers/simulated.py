"""The simulated vehicle seen through a driver; every reading is marked as not real."""
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from drivers.errors import ReadFailed
from drivers.reading import Reading
from drivers.vehicle import Plan, VehicleSim
from drivers.vehicle.scenarios import DEMO, SCENARIOS

#: Around an engine's start and stop the past is told this finely [s], within so long before and after [s].
FINE_S, BEFORE_S, AFTER_S = 5.0, 60.0, 240.0


class SimulatedOptions(BaseModel):
    """What may be chosen: which journey, and how fast it goes by."""

    model_config = ConfigDict(extra="forbid")

    scenario: str = Field(DEMO, description="which journey: " + ", ".join(SCENARIOS))
    seed: int = Field(11, description="another number, another weather and another household")
    speed: float = Field(1.0, gt=0, le=3600, description="simulated seconds that pass with each reading")
    skip_days: float = Field(0.0, ge=0, le=200, description="days that have passed before the first reading")
    changes: dict[str, float | int | str] = Field(
        default_factory=dict, description='changes to the journey, as "panel_w" or "house.true_capacity_frac"')

    @field_validator("scenario")
    @classmethod
    def _check_scenario(cls, value: str) -> str:
        if value not in SCENARIOS:
            raise ValueError(f"no scenario called {value!r}; choose one of {', '.join(SCENARIOS)}")
        return value

    @model_validator(mode="after")
    def _fits(self) -> "SimulatedOptions":
        self.plan()
        return self

    def plan(self) -> Plan:
        """The journey with its changes."""
        plan = SCENARIOS[self.scenario](self.seed)
        for name, value in self.changes.items():
            plan = _with_change(plan, name.split("."), value, name)
        return plan


def _with_change(part: Any, path: list[str], value: Any, name: str) -> Any:
    known = {f.name for f in fields(part)}
    if path[0] not in known:
        near = get_close_matches(path[0], known, 1)
        raise ValueError(f"changes: nothing called {name!r}" + (f"; did you mean {near[0]!r}?" if near else ""))
    old = getattr(part, path[0])
    if is_dataclass(old):
        if len(path) < 2:
            raise ValueError(f"changes: {name!r} has parts; write {name}.{fields(old)[0].name} or the like")
        return replace(part, **{path[0]: _with_change(old, path[1:], value, name)})
    if len(path) > 1 or isinstance(old, tuple):
        raise ValueError(f"changes: {name!r} is not a single value that could be changed")
    if isinstance(old, str) != isinstance(value, str):
        raise ValueError(f"changes: {name} = {value!r} should be " + ("a word" if isinstance(old, str) else "a number"))
    return replace(part, **{path[0]: value})


class SimulatedDriver:
    """One simulated vehicle. Each read() lets `speed` seconds pass; at_s counts them from the journey's begin."""

    Options = SimulatedOptions

    def __init__(self, options: SimulatedOptions) -> None:
        self.vehicle: VehicleSim | None = VehicleSim(options.plan())
        self._speed = options.speed
        if options.skip_days:
            for step_s in steps(self.vehicle, options.skip_days, 60.0):
                self.vehicle.step(step_s)

    def history(self, days: float, step_s: float = 60.0) -> Iterator[Reading]:
        """Readings of the coming days, as fast as they can be made; read() goes on where they end.

        They come every step_s seconds [s], more finely around each start and stop of the engine.
        """
        vehicle = self._open()
        for step in steps(vehicle, days, step_s):
            vehicle.step(step)
            yield vehicle.reading()

    def read(self) -> Reading:
        """Let time pass and read every instrument.

        Raises
        ------
        ReadFailed : the driver was closed
        """
        vehicle = self._open()
        left = self._speed
        while left > 60.0:
            vehicle.step(60.0)
            left -= 60.0
        vehicle.step(left)
        return vehicle.reading()

    def close(self) -> None:
        """The vehicle is forgotten."""
        self.vehicle = None

    def _open(self) -> VehicleSim:
        if self.vehicle is None:
            raise ReadFailed("the simulated vehicle was closed")
        return self.vehicle


def history(plan: Plan, days: float, step_s: float = 60.0) -> Iterator[Reading]:
    """Readings of a plan's first days, every step_s seconds and more finely around the engine's starts and stops.

    plan: vehicle and life; days: how many; step_s: between readings [s].
    """
    vehicle = VehicleSim(plan)
    for step in steps(vehicle, days, step_s):
        vehicle.step(step)
        yield vehicle.reading()


def steps(vehicle: VehicleSim, days: float, step_s: float) -> Iterator[float]:
    """Step lengths [s] for the coming days: one journey, lived twice in these steps, is the same bit for bit.

    vehicle: the one that will live them; days: how many; step_s: the usual step [s].
    """
    end_s = vehicle.at_s + days * 86400.0
    windows = [(t - BEFORE_S, t + AFTER_S) for d in vehicle.plan.drives for t in (d.start_s, d.stop_s)]
    windows = [w for w in sorted(windows) if w[1] > vehicle.at_s]
    k = 0
    while (left := end_s - vehicle.at_s) > 1e-6:
        at_s = vehicle.at_s
        while k < len(windows) and windows[k][1] <= at_s:
            k += 1
        fine = k < len(windows) and windows[k][0] < at_s + step_s
        step = min(FINE_S, step_s) if fine else step_s
        # land on whole multiples, so that minutes stay minutes
        yield min(step - at_s % step if at_s % step > 1e-6 else step, left)
