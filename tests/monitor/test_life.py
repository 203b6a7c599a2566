"""Years left: what they follow, what they are combined with, and when nothing is said."""
from dataclasses import replace
from math import pi, sin

import pytest

from monitor.battery.label import Battery, Chemistry
from monitor.findings import Estimate, NotYet
from monitor.wear import lithium_life
from monitor.wear.life import LifeForecast, MeasuredCapacity, forecast_life
from monitor.wear.life_use import LifeLabel, UseSlot, label_of


def _life(depth: float = 0.3, warm_c: float = 15.0, full_every: int = 1, days: int = 365, capacity: float = 100.0) -> list[UseSlot]:
    """Days of a battery that is used at night and charged by day, up to full every so many days and to 93 % on the others."""
    slots, charge = [], 1.0
    for day in range(days):
        for hour in range(24):
            warm = warm_c + 5 * sin(2 * pi * (hour - 9) / 24)
            if 9 <= hour < 15:
                target = 1.0 if day % full_every == full_every - 1 else 0.93
                up = max(target - charge, 0.0) / (15 - hour)
                charge += up
                slots.append(UseSlot(1.0, charge, 1.05 * up * capacity, 0.0, warm))
            else:
                down = min(depth / 18, charge - 0.05)
                charge -= down
                slots.append(UseSlot(1.0, charge, 0.0, down * capacity, warm))
    return slots


def _label(chemistry: Chemistry = "agm") -> LifeLabel:
    return label_of(Battery("house", chemistry, 100.0))


def _years(found: LifeForecast) -> float:
    assert isinstance(found.years, Estimate)
    return found.years.value


@pytest.mark.parametrize("chemistry", ["flooded", "agm", "gel", "lfp"])
def test_a_short_life_says_nothing(chemistry: Chemistry) -> None:
    found = forecast_life(_life(days=9), _label(chemistry))
    assert isinstance(found.years, NotYet) and "14 days" in found.years.because and "9 days" in found.years.because


@pytest.mark.parametrize("chemistry", ["flooded", "agm", "gel", "lfp"])
def test_harder_is_shorter(chemistry: Chemistry) -> None:
    """Deeper and hotter shorten every life; the range holds the middle."""
    label = _label(chemistry)
    usual, deep = forecast_life(_life(), label, causes=False), forecast_life(_life(depth=0.6), label, causes=False)
    hot = forecast_life(_life(depth=0.05, warm_c=38.0), label, causes=False)
    mild = forecast_life(_life(depth=0.05), label, causes=False)
    assert _years(deep) < _years(usual) and _years(hot) < 0.8 * _years(mild)
    assert isinstance(usual.years, Estimate) and usual.years.low < usual.years.value < usual.years.high


@pytest.mark.parametrize("capacity", [40.0, 100.0, 300.0])
def test_a_lithium_swing_is_as_deep_by_the_day_as_by_the_hour(capacity: float) -> None:
    """Three tenths a night, whatever the battery holds: of a day's slot only what it gave is known."""
    hours = _life(capacity=capacity, days=20)
    days = [UseSlot(24.0, part[-1].charge_frac, sum(s.charge_ah for s in part), sum(s.discharge_ah for s in part), 15.0)
            for part in (hours[k:k + 24] for k in range(0, len(hours), 24))]
    by_hour, by_day = lithium_life.swing_depths(hours, capacity), lithium_life.swing_depths(days, capacity)
    assert by_day[-1] == pytest.approx(0.3, abs=0.02) and by_hour[-1] == pytest.approx(by_day[-1], abs=0.03)
    assert lithium_life.swing_depths([replace(days[0], hours=72.0)], capacity)[0] == pytest.approx(by_day[0] / 3)


def test_lead_acid_left_part_charged_is_worn_faster() -> None:
    """Full once a month instead of each day: the model gives an ampere-hour at least twice the weight, and says so first."""
    daily, monthly = forecast_life(_life(full_every=1), _label("gel")), forecast_life(_life(full_every=30), _label("gel"))
    assert monthly.weight_ratio > 2 * daily.weight_ratio
    assert monthly.shortened_by[0][0] == "standing part-charged" and monthly.shortened_by[0][1] > 0.5


def test_lithium_bears_it() -> None:
    """Lithium iron phosphate loses nothing by standing part-charged: it gains."""
    daily, monthly = (forecast_life(_life(full_every=n), _label("lfp"), causes=False) for n in (1, 30))
    assert _years(monthly) >= _years(daily)


def test_heat_is_named_where_it_is_hot() -> None:
    found = forecast_life(_life(depth=0.05, warm_c=35.0), _label("agm"))
    assert found.shortened_by[0][0] == "heat"


def test_a_lower_criterion_takes_longer() -> None:
    label, life = _label(), _life()
    assert _years(forecast_life(life, label, 0.6, causes=False)) > _years(forecast_life(life, label, 0.8, causes=False))
    with pytest.raises(ValueError, match=r"criterion_frac is 1\.4"):
        forecast_life(life, label, 1.4)


def test_the_data_sheet_narrows_it() -> None:
    life = _life(depth=0.2)
    vague = forecast_life(life, _label(), causes=False)
    said = forecast_life(life, replace(_label(), cycles=400.0, float_years=10.0), causes=False)
    assert isinstance(vague.years, Estimate) and isinstance(said.years, Estimate)
    assert said.years.high / said.years.low < 0.7 * vague.years.high / vague.years.low


def test_a_measured_capacity_is_taken_in() -> None:
    """A battery of two years that still holds 97 % lives longer than one that holds 84 %, and the range of either is narrower."""
    life, label = _life(depth=0.15), _label()
    good, worn = (forecast_life(life, label, measured=MeasuredCapacity(frac, 0.03, 2.0), causes=False) for frac in (0.97, 0.84))
    assert _years(worn) < 0.5 * _years(good)
    used_up = forecast_life(life, label, measured=MeasuredCapacity(0.7, 0.03, 2.0), causes=False)
    assert _years(used_up) == 0.0


def test_it_says_where_count_and_capacity_part() -> None:
    """A battery new a month ago that holds two thirds: no use explains that, and the range says so."""
    life, label = _life(depth=0.1), _label()
    agreed = forecast_life(life, label, 0.6, MeasuredCapacity(0.99, 0.03, 0.1), causes=False)
    apart = forecast_life(life, label, 0.6, MeasuredCapacity(0.66, 0.03, 0.1), causes=False)
    assert agreed.agrees and not apart.agrees


@pytest.mark.parametrize("field", ["cycles", "float_years"])
def test_a_label_that_cannot_be(field: str) -> None:
    with pytest.raises(ValueError, match=f"{field} is 0.1"):
        label_of(Battery("house", "agm", 100.0), **{field: 0.1})
