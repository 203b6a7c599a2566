"""Replays a recorded drive through the command line and scores it against its truth."""
import importlib.util
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

RECORDINGS = Path(__file__).parent / "recordings"

#: After the first 24 h, percentage points of true capacity: the best of a voltmeter with two tables, a
#: counter, a counter with reset at full, and a small Kalman filter (tests/recordings/baselines.md).
BEST_SIMPLE_RMSE_PCT = {
    "agm-aged": 7.7, "agm-camp": 5.4, "cloudy-flat": 1.7, "fade-26-weeks": 3.2, "fade-26-weeks-sound": 1.6,
    "isolator-stuck-closed": 1.7, "isolator-stuck-open": 2.4, "lfp-camp": 9.0, "starter-drain-150ma": 0.6,
    "starter-drain-2a": 0.6, "starter-drain-500ma": 0.5, "starter-drain-60ma": 0.4, "starter-healthy": 0.8,
}


@cache
def _scorer() -> Any:
    """The scorer of the drives, loaded when a drive is scored: pandas takes its time."""
    spec = importlib.util.spec_from_file_location("score", RECORDINGS / "score.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@dataclass(frozen=True, slots=True)
class Outcome:
    """What replaying one drive gave, scored."""

    soc: dict[str, Any]
    events: dict[str, Any]
    forecast: dict[str, Any]
    seconds: float


def vehicle_toml(folder: Path) -> str:
    """The configuration an owner would write: only what is on the label."""
    scenario = tomllib.loads((folder / "scenario.toml").read_text())
    house = "lfp" if scenario["chemistry"] == "lfp" else "agm"
    rated = scenario.get("rated_ah", 60)
    lines = ["[house]", f'chemistry = "{house}"', f"rated_capacity_ah = {rated}",
             f"rated_hours = {scenario.get('rated_hours', 20)}"]
    lines += [f"{key} = {scenario[key]}" for key in ("absorption_v", "float_v") if key in scenario]
    lines += ["reserve_soc_pct = 20", "", "[starter]", 'chemistry = "agm"', "rated_capacity_ah = 60", ""]
    return "\n".join(lines)


def replay(folder: Path, out: Path) -> Outcome:
    """Run `ampledger replay` on a recorded drive, as a user would, and score what it wrote."""
    import time

    import pandas as pd

    vehicle = out / "vehicle.toml"
    vehicle.write_text(vehicle_toml(folder))
    started = time.perf_counter()
    run = subprocess.run(
        [sys.executable, "-m", "monitor", "replay", str(folder / "readings.csv.gz"), "--vehicle", str(vehicle),
         "--estimates", str(out / "estimates.csv"), "--events", str(out / "events.csv"),
         "--forecasts", str(out / "forecasts.csv")],
        capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    seconds = time.perf_counter() - started
    score = _scorer()
    return Outcome(
        soc=score.score_soc(str(folder), pd.read_csv(out / "estimates.csv")),
        events=score.score_events(str(folder), pd.read_csv(out / "events.csv")),
        forecast=score.score_forecast(str(folder), pd.read_csv(out / "forecasts.csv"), soc=0.2),
        seconds=seconds)
