"""All thirteen recorded drives through `ampledger replay`, as a table against the best simple method.

    python -m tests.benchmarks.bench_reference [FOLDER ...]
"""
import sys
import tempfile
from pathlib import Path

from tests.reference import BEST_SIMPLE_RMSE_PCT, RECORDINGS, replay


def main(names: list[str]) -> None:
    folders = [Path(n) for n in names] or [RECORDINGS / name for name in sorted(BEST_SIMPLE_RMSE_PCT)]
    print(f"{'drive':24}{'rmse':>7}{'best':>7}{'max':>7}{'cover':>7}{'width':>7}{'capacity':>10}"
          f"{'seconds':>9}  events")
    better = 0
    for folder in folders:
        with tempfile.TemporaryDirectory() as out:
            done = replay(folder, Path(out))
        soc, events = done.soc, done.events
        best = BEST_SIMPLE_RMSE_PCT.get(folder.name)
        rmse = 100 * soc["rmse_after24h"]
        better += best is not None and rmse < best
        found = [f"{d['kind']} {'after %.1f h' % d['delay_h'] if d['found'] else 'MISSED'}" for d in events["detected"]]
        print(f"{folder.name:24}{rmse:7.2f}{best or 0:7.1f}{100 * soc['max_after24h']:7.1f}"
              f"{soc.get('coverage_after24h', 0):7.2f}{100 * soc.get('width_after24h', 0):7.1f}"
              f"{100 * soc.get('capacity_final_error', float('nan')):9.1f}%{done.seconds:9.1f}  "
              f"{', '.join(found)} false {events['false_alarms']} wrong kind {events['wrong_kind_during_fault']} "
              f"{events['other_kinds']}", flush=True)
        if done.forecast["crossings_s"]:
            print("   forecast:", done.forecast["alert_lead_h"], "false",
                  done.forecast["said_within_12h_but_not_within_24h"], "of", done.forecast["forecasts"],
                  [(b["lead_h"], b["n"], b["said_never"], round(b["mean_abs_error_h"] or -1, 1))
                   for b in done.forecast["by_lead"]], flush=True)
    print(f"better than the best simple method in {better} of {len(folders)}")


if __name__ == "__main__":
    main(sys.argv[1:])
