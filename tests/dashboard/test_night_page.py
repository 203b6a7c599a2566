"""The figures of the coming night beside its headline."""
import pytest

from dashboard.night_page import night_rows
from monitor.findings import Answer, Estimate, ForecastFindings, NotYet


def _reached(charge_frac: Answer, reserve_in_s: float | None) -> str:
    found = ForecastFindings(0.0, 0.9, reserve_in_s=reserve_in_s, reserve_frac=0.5)
    return {label: value for label, value, _ in night_rows(found, 20.0, charge_frac)}["Your reserve reached"]


@pytest.mark.parametrize(("charge_frac", "reserve_in_s", "words"), [
    (Estimate(0.42, 0.3, 0.5, "counted"), None, "already below it"),
    (Estimate(0.42, 0.3, 0.5, "counted"), 60.0, "already below it"),
    (Estimate(0.80, 0.7, 0.9, "counted"), None, "not within three days"),
    (NotYet("it was just switched on"), None, "not within three days"),
])
def test_a_battery_below_its_reserve_is_not_said_to_stay_above_it(charge_frac: Answer, reserve_in_s: float | None, words: str) -> None:
    """The headline says that it is below; the table said "not within three days" beside it."""
    assert _reached(charge_frac, reserve_in_s) == words
