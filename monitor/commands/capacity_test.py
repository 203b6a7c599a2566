"""ampledger capacity-test: a guided capacity test of the house battery; the person switches, this watches."""
import sys
import time
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, locate_database
from monitor.wear.watched_test import HIGHEST_STOP_V, LEAST_FULL_FRAC, LOWEST_STOP_V, SEEN_FULL

#: The latest full charge may lie so far back [s].
OLDEST_FULL_S = 14 * 86400.0


@click.command(short_help="A guided capacity test of the house battery: says when to begin and when to stop.")
@click.option("--stop-at", "stop_v", type=click.FloatRange(LOWEST_STOP_V, HIGHEST_STOP_V), metavar="VOLTS",
              help="End voltage under load. Default: 10.5 (lead-acid, 1.75 V a cell), 11.0 (lithium iron phosphate). "
                   "Above 11.0 (11.5) the test gives a minimum only.")
@click.option("--to-reserve", is_flag=True, help="Stop when the reserve is reached: gentler, but it gives a minimum only.")
@click.option("--once", is_flag=True, help="Show how far the test is, and end.")
@config_option
@database_option
def capacity_test(stop_v: float | None, to_reserve: bool, once: bool, config_file: Path | None, database: Path | None) -> None:
    """Guide through a capacity test of the house battery, and keep its result.

    Charge it full, let it rest with every charger off, switch on a load of about the rated current, and leave it on.
    The test begins by itself with the discharge and ends when the voltage has fallen to the end voltage: then switch
    the loads off and charge at once. This command only watches, through the log of the running monitor: it may be
    ended and begun again at any time.

    The result is corrected for rate (Peukert) and temperature (IEEE 450, IEC 60896-21), and counts in the verdict.

    Lead-acid batteries wear by every deep discharge: once or twice a year is enough. Stay within reach, ventilate,
    and stop when the battery gets hot, swells or smells. Its label, local codes and licensed practice come first.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.wear import capacity_test as planned

    reader = Reader(locate_database(config_file, database))
    now = reader.now()
    if now is None:
        raise Refused("the log is empty; the monitor has to run first: ampledger run")
    house = now.vehicle.house
    stop_v = planned.END_V[house.lead_acid] if stop_v is None else stop_v
    watch = CapacityTestView(reader, stop_v, 1 - house.reserve_soc_frac if to_reserve else None)
    while True:
        run, sentences = watch.look()
        _say(sentences, run.phase == "running" and not once)
        if run.phase in ("ended", "stopped"):
            _finish(watch, run, reader.database)
            return
        if run.phase == "spoiled":
            raise Refused(f"the test is spoiled: {run.why}")
        if once:
            return
        time.sleep(15)


def _say(sentences: list[str], in_place: bool) -> None:
    if in_place and sys.stdout.isatty():
        click.echo("\r\x1b[2K" + " ".join(sentences), nl=False)
    else:
        click.echo("\n".join(sentences))


class CapacityTestView:
    """The test as the log tells it: read from the latest full charge on, then what is new at each look."""

    def __init__(self, reader: Any, stop_v: float, stop_frac: float | None) -> None:
        from monitor.wear.capacity_test import CapacityTestRun

        self._reader, self._stop_v, self._stop_frac = reader, stop_v, stop_frac
        self._run, self._told, self._read_utc_s, self._seen = CapacityTestRun(), "", 0.0, False
        self.full_frac: Any = None

    def look(self) -> tuple[Any, list[str]]:
        """The test as it stands, and what to say of it."""
        from monitor.wear import capacity_test

        now = self._reader.now()
        house, sensor = now.vehicle.house, now.vehicle.current_sensor
        begin = self._read_utc_s or self._full_utc_s(now)
        if begin is not None:
            for at_utc_s, sample in self._reader.rows(begin + 0.001, now.utc_s + 1):
                self._run = capacity_test.add(self._run, sample, house, sensor, self._stop_v, self._stop_frac)
                self._read_utc_s = at_utc_s
                if self._run.phase == "spoiled" and not self._seen:
                    self._run = capacity_test.CapacityTestRun()  # ordinary life before anybody asked for a test
        run = self._run
        if run.phase != "waiting":
            self.full_frac = self._full_frac(now, run) if self.full_frac is None or not self._seen else self.full_frac
            if self.full_frac.value >= LEAST_FULL_FRAC:
                self._seen = True
                return run, self._progress(run, house)
            self._run = run = capacity_test.CapacityTestRun()
        charge = now.findings.charge
        frac = charge.charge_frac if hasattr(charge.charge_frac, "value") else None
        wrong = capacity_test.not_ready(frac, charge.anchor, charge.charging_stage,
                                        now.sample.house_temperature_c if now.sample else None)
        if wrong:
            return run, self._new(["Not ready: " + "; ".join(wrong) + "."])
        low, high = capacity_test.load_a(house)
        return run, self._new([f"It may begin. With every charger off, switch on loads of {low:.0f} to {high:.0f} A and leave them on; "
                               f"the test ends at {self._stop_v:.1f} V."])

    def _new(self, sentences: list[str]) -> list[str]:
        """Nothing where the same was said last time."""
        text = " ".join(sentences)
        same, self._told = text == self._told, text
        return [] if same else sentences

    def _full_utc_s(self, now: Any) -> float | None:
        """When the latest full charge was seen, None where that is too long ago."""
        fulls = self._reader.events_of("full_charge")
        return fulls[-1].at_utc_s if fulls and now.utc_s - fulls[-1].at_utc_s < OLDEST_FULL_S else None

    def _full_frac(self, now: Any, run: Any) -> Any:
        """How full it was when the test began."""
        from monitor.findings import Estimate

        start = now.utc_s + run.start_s - now.at_s
        rows = [v for _, _, v in self._reader.rows_of_level("minutes", start - 300, start + 120) if v["charge_frac"] is not None]
        if not rows:
            return SEEN_FULL
        return Estimate(rows[-1]["charge_frac"], rows[-1]["charge_low_frac"], rows[-1]["charge_high_frac"], "full charge seen")

    def _progress(self, run: Any, house: Any) -> list[str]:
        volts = "" if run.voltage_v is None else f"{run.voltage_v:.2f} V; "
        share = f"{100 * run.drawn_ah / house.rated_capacity_ah:.0f} % of rated capacity"
        return [f"Capacity test running for {run.hours:.1f} h: {run.drawn_ah:.1f} Ah drawn, {share}; {volts}"
                f"it ends at {self._stop_v:.1f} V."]

    def result(self, run: Any) -> tuple[Any, float]:
        """The result, and when the test ended [UTC]."""
        from monitor.wear import capacity_test

        now = self._reader.now()
        found = capacity_test.result(run, now.vehicle.house, now.vehicle.current_sensor, self.full_frac, self._stop_v)
        return found, now.utc_s + run.at_s - now.at_s


def _finish(watch: CapacityTestView, run: Any, database: Path) -> None:
    """Says the result and leaves it for the daemon."""
    from monitor.cli import Refused
    from monitor.commands.wishes import ask_daemon

    click.echo(f"\nStop: {run.why}.")
    try:
        found, ended_utc_s = watch.result(run)
    except ValueError as error:
        raise Refused(str(error)) from None
    held = found.capacity_ah
    if found.reached_end:
        click.echo(f"It holds {held.value:.0f} Ah ({held.low:.0f} to {held.high:.0f}) at its rated rate and 25 °C.")
    else:
        click.echo(f"It holds at least {held.low:.0f} Ah at its rated rate and 25 °C; it was not tested deeper.")
    warm = "not measured" if found.temperature_c is None else f"{found.temperature_c:.0f} °C"
    click.echo(f"Drawn: {found.drawn_ah:.1f} Ah in {found.hours:.1f} h, lately {found.rate_a:.1f} A; temperature {warm}. "
               f"At this rate {100 * found.rate_factor:.0f} % and at this temperature {100 * found.temperature_factor:.0f} % of it can be "
               "had.")
    ask_daemon(database, "capacity_tested", capacity_ah=held.value, low_ah=held.low, high_ah=held.high,
               reached_end=int(found.reached_end), ended_utc_s=ended_utc_s, sigma_ln=found.sigma_ln)
