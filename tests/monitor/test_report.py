"""Sentences: what stands in them when much, little or nothing is known."""
import pytest

from monitor.findings import (
    ChargeFindings,
    Condition,
    Estimate,
    ForecastFindings,
    JoinFindings,
    NotYet,
    StarterFindings,
)
from monitor.reporting import sentences
from monitor.usage.counts import CountsFindings, Tally

WAIT = NotYet("one night has to pass")


def charge(value=0.62, usable=25.0, anchor="full", age_s=2.1 * 86400) -> ChargeFindings:
    return ChargeFindings(Estimate(value, value - 0.04, value + 0.04, "counting"), WAIT, WAIT,
                          Estimate(usable, usable - 3, usable + 3, "counting"), WAIT, WAIT, anchor, age_s)


def starter(rest_v=12.71, drain=(0.012, -0.01, 0.035), **more) -> StarterFindings:
    return StarterFindings(Estimate(0.9, 0.8, 0.97, "rested"), Estimate(rest_v, rest_v - 0.01, rest_v + 0.01, "rested"),
                           Estimate(*drain, "rested"), **more)


def test_the_charge_is_told_with_interval_reserve_basis_and_age() -> None:
    assert sentences.charge_sentence(charge()) == (
        "The house battery holds 62 % (58–66), 25 Ah (22–28) of it above the reserve; "
        "counted since the last full charge, 2 days ago.")


def test_below_the_reserve_no_ampere_hour_is_promised() -> None:
    assert "nothing of it above the reserve" in sentences.charge_sentence(charge(0.15, usable=-3.0))


def test_an_unknown_charge_says_why() -> None:
    unknown = ChargeFindings(WAIT, WAIT, WAIT, WAIT, WAIT, WAIT)
    assert sentences.charge_sentence(unknown).endswith("is not known yet, because one night has to pass.")


@pytest.mark.parametrize("odds, begins", [
    (None, "Tonight cannot be forecast yet. Not known yet, because"), (0.004, "It should last the night."),
    (0.09, "It should last the night."), (0.3, "It may fall below your reserve of 40 % tonight."),
    (0.55, "About even whether it stays above your reserve of 40 %."),
    (0.7, "It will probably fall below your reserve of 40 % about 03:30."),
    (0.999, "It will probably fall below your reserve of 40 % about 03:30.")])
def test_tonight_is_told_by_its_odds(odds: float | None, begins: str) -> None:
    said = sentences.tonight_sentence(ForecastFindings(
        0.0, odds, reserve_in_s=6 * 3600.0, sun_back_in_s=11 * 3600.0, lowest_frac=0.3, reserve_frac=0.4), 21.5)
    assert said.startswith(begins) and said.endswith(".")


def test_what_the_forecast_says_itself_is_said_everywhere() -> None:
    assert sentences.tonight_sentence(ForecastFindings(0.0, 0.5, sentence="So it is.")) == "So it is."


@pytest.mark.parametrize("in_s, hour, said", [
    (6 * 3600, 21.66, "about 03:40"), (6 * 3600, None, "about 6 h from now"),
    (40 * 60, 23.5, "about 00:10"), (16 * 3600, 21.66, "about 13:40"), (4 * 86400, 21.0, "about 21:00 in 4 days"),
    (1800, 12.0, "about 12:30"), (30 * 3600, 20.0, "about 02:00 the day after tomorrow"), (25 * 3600, 9.0, "about 10:00 tomorrow"),
    (2 * 3600, 21.999, "about 00:00")])
def test_a_moment_is_told_by_the_clock_where_there_is_one(in_s: float, hour: float | None, said: str) -> None:
    assert sentences.when(in_s, hour) == said


@pytest.mark.parametrize("drain, said", [
    ((0.012, -0.01, 0.035), "no drain found"),
    ((0.18, 0.14, 0.23), "with a drain of 180 mA (140–230) while parked"),
    ((0.06, 0.0, 0.12), "its drain is not certain, 0 to 120 mA")])
def test_the_starter_is_told_with_its_drain(drain, said: str) -> None:
    apart = JoinFindings("open", "off")
    assert said in sentences.starter_sentence(starter(drain=drain), apart)


def test_a_start_that_becomes_doubtful_is_told_in_days() -> None:
    drained = starter(drain=(0.18, 0.14, 0.23), doubtful_after_s=6 * 86400.0)
    said = sentences.starter_sentence(drained, JoinFindings("open", "off"))
    assert said.endswith("Parked like this it should start the engine for about 6 days.")


def test_while_joined_nothing_is_said_of_the_starter_alone() -> None:
    assert "12.71" not in sentences.starter_sentence(starter(), JoinFindings("closed", "running"))


@pytest.mark.parametrize("join, said", [
    (JoinFindings("open", "off"), "The batteries are separate and the engine is off."),
    (JoinFindings("closed", "running"), "The batteries are connected and the engine runs."),
    (JoinFindings(), "Whether the batteries are connected is not known; whether the engine runs is not known."),
    (JoinFindings(because="no starter voltage"), "Whether the batteries are connected is not known; whether the engine "
                                                 "runs is not known: no starter voltage."),
    (JoinFindings("open", "running", "dc_dc"), "A DC-DC charger stands between the batteries; the engine runs.")])
def test_the_join_is_told(join: JoinFindings, said: str) -> None:
    assert sentences.join_sentence(join) == said


def test_a_slow_reading_gives_the_lowest_voltage_and_no_verdict() -> None:
    seen = starter(crank_lowest_v=Estimate(10.2, 10.1, 10.3, "measured"), crank_drop_frac=NotYet("the reading is too slow"))
    assert sentences.crank_sentence(seen) == (
        "At the last start the voltage fell to 10.2 V, the lowest seen; no verdict, because the reading is too slow.")


@pytest.mark.parametrize("day, said", [
    (Tally(0.0, sun_ah=31.2, alternator_ah=12.0, spent_ah=28.4), "Today the house battery received 31.2 Ah from the sun and "
     "12.0 Ah from the engine, and spent 28.4 Ah."),
    (Tally(0.0, spent_ah=3.0), "Today the house battery received nothing, and spent 3.0 Ah."),
    (Tally(0.0, sun_ah=1.0, spent_ah=3.0, gap_s=7200), "Today the house battery received 1.0 Ah from the sun, and "
     "spent 3.0 Ah; 2 h were not seen.")])
def test_a_day_is_told_by_source(day: Tally, said: str) -> None:
    assert sentences.day_sentence(day) == said


def test_a_figure_never_shows_a_minus_zero_nor_less_than_nothing() -> None:
    assert str(sentences.figure(Estimate(0.001, -0.02, 0.03, "rested"), "mA", scale=1000, least=0)) == "1 mA (0–30)"
    assert str(sentences.figure(Estimate(-0.001, -0.02, 0.03, "rested"), "A", 1)) == "0.0 A (0.0–0.0)"
    assert str(sentences.figure(Estimate(-0.2, -0.25, -0.15, "learnt"), "mA", scale=1000)) == "−200 mA (−250 to −150)"


def test_a_summary_begins_with_what_is_wrong() -> None:
    told = sentences.summary(charge(), ForecastFindings(0.0, 0.02), starter(), JoinFindings("open", "off"),
                             CountsFindings(Tally(0.0), None, Tally(0.0)),
                          [Condition("starter_drain", "starter", True, seen="It loses 180 mA.", means="It may not start.")])
    assert told[0] == "It loses 180 mA. It may not start." and len(told) == 6
    assert all(line.endswith(".") for line in told)
