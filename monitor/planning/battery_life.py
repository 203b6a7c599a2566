"""Years left of the house battery by its own log: wear so far, measured capacity, and what its owner calls too small."""
from dataclasses import dataclass, replace

from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Estimate, NotYet
from monitor.logbook.reader import LatestMinute, Reader
from monitor.parameters import table
from monitor.planning import life_on_log
from monitor.planning.life_on_log import CapacityNeeded
from monitor.planning.logged_life import describe_logged
from monitor.planning.model import Setup
from monitor.planning.whatif import NotExplained, explain
from monitor.wear.life import LifeForecast, forecast_life
from monitor.wear.life_use import label_of

P = table("planning", "battery_life")
SHORT_NIGHTS, LOOKED_BACK_DAYS, NIGHTS_DAYS = P.number("short_nights"), P.number("looked_back_days"), P.count("nights_days")
DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0


@dataclass(frozen=True, slots=True)
class LifeReport:
    """What the log says of the years left, and what it rests on.

    days : of the log that wear was counted from; thermometer : whether the battery's own temperature is in them
    age_years : since it was put in, None where nobody said; short_nights : in 30, that its owner bears
    nights_because : why there is no criterion of the owner's own, "" where there is one
    short_already : even its whole rating is short on more nights than that
    """

    made_utc_s: float
    days: float
    thermometer: bool
    age_years: float | None
    short_nights: float
    nights_because: str
    short_already: bool
    lead_acid: bool
    forecast: LifeForecast


def work_out_life(reader: Reader, short_nights: float = SHORT_NIGHTS, cycles: float | None = None,
                  float_years: float | None = None) -> LifeReport:
    """The years left, by the log.

    reader : of the log; short_nights : in 30, that its owner bears; cycles : full cycles that the data sheet promises, None: the
    usual of its kind; float_years : years that it promises on float at 20 °C, None: the usual

    Raises
    ------
    ValueError : the log is empty, or a figure that no battery has
    """
    if not 0.0 <= short_nights <= 30.0:
        raise ValueError(f"short nights is {short_nights:g}: it must lie between 0 and 30, of 30 nights")
    now = reader.now()
    if now is None:
        raise ValueError("the log is empty; come back after some weeks")
    label = label_of(now.vehicle.house, cycles, float_years)
    installed = reader.lives().of("house", now.vehicle)[-1].installed_utc_s
    begins = max(now.utc_s - LOOKED_BACK_DAYS * DAY_S, installed or 0.0)
    use, thermometer = life_on_log.read_use(reader.rows_of_level("hours", begins))
    days = sum(slot.hours for slot in use) / 24.0
    age = None if installed is None else max((now.utc_s - installed) / YEAR_S, 0.0)
    needed, because = _capacity_needed(reader, now, short_nights)
    found = forecast_life(use, label, USED_UP_FRAC if needed.frac is None else needed.frac,
                          life_on_log.measured_capacity(now.vehicle, now.findings.charge, age))
    found = _hide(found, now)
    return LifeReport(now.utc_s, days, thermometer, age, short_nights, because, needed.already, now.vehicle.house.lead_acid, found)


def _capacity_needed(reader: Reader, now: LatestMinute, short_nights: float) -> tuple[CapacityNeeded, str]:
    """Part of the rating below which the nights get too short, and the reason where that cannot be told."""
    try:
        _, life, known = describe_logged(reader, NIGHTS_DAYS)
        slots, _ = explain(life, known)
    except (ValueError, NotExplained) as error:
        return CapacityNeeded(None), str(error)
    house = now.vehicle.house
    rated = Setup("as rated", house.chemistry, house.rated_capacity_ah, house.reserve_soc_frac)
    needed = life_on_log.capacity_needed(slots, rated, known.start_frac, short_nights)
    if needed.frac is None and not needed.already:
        return needed, (f"in what was lived even {100 * life_on_log.LEAST_FRAC:.0f} % of its rating would not have been short on more than "
                        f"{short_nights:g} nights in 30")
    return needed, ""


def _hide(found: LifeForecast, now: LatestMinute) -> LifeForecast:
    """Without the years where what they rest on is not known, or an instrument is at fault."""
    charge, health = now.findings.charge, now.findings.health
    if isinstance(found.years, NotYet):
        return found
    because = ""
    if isinstance(charge.capacity_ah, NotYet):
        because = charge.capacity_ah.because
    elif not isinstance(charge.charge_frac, Estimate):
        because = charge.charge_frac.because
    elif health.heat_because:
        because = health.heat_because
    if not because:
        return found
    hidden = NotYet(because)
    return replace(found, years=hidden, years_to_80=hidden, loss_per_year=hidden, shortened_by=())
