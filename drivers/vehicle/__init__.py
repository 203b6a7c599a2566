"""The simulated vehicle: two batteries, loads, sun, engine, isolator, sensors, and faults to order.

A plant of its own. It shares no formula with what watches it, so an estimate that agrees with it
has found something out. Where the physics comes from stands in each file and in
docs/simulated-vehicle.md.

>>> from drivers.vehicle import Plan, VehicleSim
>>> vehicle = VehicleSim(Plan(seed=7))
>>> state = vehicle.step(60.0)
>>> 0.0 < state.house_soc_frac < 1.0
True
"""
from drivers.vehicle.plan import BatteryPlan, Drive, Ordered, Plan, SensorPlan
from drivers.vehicle.sim import State, VehicleSim

__all__ = ["BatteryPlan", "Drive", "Ordered", "Plan", "SensorPlan", "State", "VehicleSim"]
