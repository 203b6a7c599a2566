"""What the vehicles of every ensemble are like: how deep they go, how often full, how fast they are made."""
import sys
import time

from tests.benchmarks.ensemble import CASES, HALF_YEARS, PARKINGS, camps, half_years, journey, parkings, vehicles


def main(arguments: list[str]) -> None:
    count = int(arguments[0]) if arguments else 1
    sets = [(c, vehicles(c, count), 60.0) for c in CASES] + [(c, parkings(c, count), 60.0) for c in PARKINGS]
    sets += [("camps", camps(count), 60.0)] + [(c, half_years(c, 1), 120.0) for c in HALF_YEARS]
    print(f"{'case':22}{'house':8}{'Ah':>5}{'true':>6}  {'charge':>13}{'mean':>6}{'full':>6}{'starter to':>12}"
          f"  {'house volts':>13}{'drives':>8}{'us':>5}")
    for case, plans, step_s in sets:
        for plan in plans:
            begun = time.process_time()
            truths = [truth for _, truth in journey(plan, step_s)]
            took_us = (time.process_time() - begun) / len(truths) * 1e6
            socs = [t.house_soc_frac for t in truths]
            volts = [t.house_voltage_v for t in truths]
            print(f"{case:22}{plan.house.chemistry:8}{plan.house.label_ah:5.0f}{plan.house.true_capacity_frac:6.2f}"
                  f"  {min(socs):5.2f} to {max(socs):4.2f}{sum(socs) / len(socs):6.2f}"
                  f"{sum(z > 0.98 for z in socs) / len(socs):6.0%}{min(t.starter_soc_frac for t in truths):12.2f}"
                  f"  {min(volts):5.2f} to {max(volts):5.2f}{len(plan.drives):6}{took_us:7.0f}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
