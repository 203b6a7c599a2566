"""What a step of the simulated vehicle costs, in microseconds and in turns of a plain loop."""
import time
from dataclasses import replace

from drivers.simulated import SimulatedDriver, SimulatedOptions
from drivers.vehicle import Drive, Plan, VehicleSim


def turn_s() -> float:
    """Seconds for one turn of a plain multiply-add loop: how fast this machine is just now."""
    begun, x = time.process_time(), 1.0
    for _ in range(500_000):
        x = x * 0.999 + 0.001
    return (time.process_time() - begun) / 500_000


def main() -> None:
    drives = tuple(Drive(d * 86400.0 + 36000.0, d * 86400.0 + 40000.0) for d in (2, 5))
    plan = Plan(seed=3, drives=drives)
    lithium = replace(plan, house=replace(plan.house, chemistry="lfp"))
    turn = turn_s()
    print(f"{'':28}{'us a step':>10}{'turns':>8}{'us a reading':>14}")
    for name, chosen, step_s in (("lead-acid, 60 s", plan, 60.0), ("lithium, 60 s", lithium, 60.0),
                                 ("lead-acid, 1 s", plan, 1.0)):
        vehicle, steps = VehicleSim(chosen), 10_000
        begun = time.process_time()
        for _ in range(steps):
            vehicle.step(step_s)
        step = (time.process_time() - begun) / steps
        begun = time.process_time()
        for _ in range(5_000):
            vehicle.reading()
        print(f"{name:28}{1e6 * step:10.1f}{step / turn:8.0f}{1e6 * (time.process_time() - begun) / 5_000:14.1f}")
    begun = time.process_time()
    rows = sum(1 for _ in SimulatedDriver(SimulatedOptions()).history(21.0))
    took = time.process_time() - begun
    print(f"21 days of the demo: {rows} readings in {took:.2f} s")


if __name__ == "__main__":
    main()
