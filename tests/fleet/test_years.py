"""Years left at the collector: the board's own forecast over the collected rows, once a week a vehicle, shown in the list and on Health."""
import html
import json
import time
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, update

from monitor.findings import Estimate
from monitor.fleet import batteries, by_hand, database, overview
from monitor.fleet.tables import vehicles, years
from monitor.fleet.years import AGAIN_S, CLAIMED_S, YearsThread, claim, read_years, work_out
from monitor.logbook.reader import Reader
from monitor.planning.battery_life import work_out_life
from monitor.reporting import life_words
from tests import store_fixture
from tests.fleet.lines import NOW_UTC_S
from tests.fleet.test_publish import enrol
from tests.fleet.test_site import client_of


@pytest.fixture(scope="module")
def three_weeks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("weeks") / "ampledger.db", 20, beat_s=300.0)


@pytest.fixture
def two(engine: Engine, three_weeks: Path, published_log: Path) -> Engine:
    """One vehicle with weeks behind it, one with some days, one that never came."""
    for name, log in (("hilux-07", three_weeks), ("patrol-02", published_log), ("new-01", None)):
        enrol(engine, name)
        if log is not None:
            by_hand.import_log(engine, log, name, NOW_UTC_S)
    return engine


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)      # years are worked out alike on both
def test_years_are_those_of_the_boards_own_log_and_stand_in_the_list_and_on_its_page(two: Engine, three_weeks: Path) -> None:
    thread = YearsThread(two, lambda: NOW_UTC_S)
    assert thread.look() == 2
    assert thread.look() == 0, "it is nobody's turn"
    report = work_out_life(Reader(three_weeks))
    wanted = report.forecast.years
    assert isinstance(wanted, Estimate)
    with database.reading(two) as connection:
        rows = {line.name: line.row for line in overview.list_vehicles(connection, NOW_UTC_S)}
        assert read_years(connection, 1, 1) == {"headline": life_words.describe_headline(report), "because": "",
                                                "rows": [list(row) for row in life_words.list_rows(report)]}
        assert read_years(connection, 2, 1) == {"headline": "", "rows": [], "because": life_words.TOO_YOUNG}
        assert read_years(connection, 3, 1) is None
    assert (rows["hilux-07"].years, rows["hilux-07"].years_low, rows["hilux-07"].years_high) == (wanted.value, wanted.low, wanted.high)
    assert rows["patrol-02"].years is None
    client = client_of(two, "see")
    assert life_words.describe_years(wanted) in client.get("/").get_data(as_text=True)
    assert life_words.describe_headline(report) in html.unescape(client.get("/vehicle/hilux-07/health").get_data(as_text=True))
    assert "younger than 14 days" in client.get("/vehicle/patrol-02/health").get_data(as_text=True)


def test_each_vehicle_is_one_collectors_at_a_time_and_comes_again_after_a_week_if_something_came(two: Engine) -> None:
    def turns(now_utc_s: float) -> list[str]:
        found = []
        with two.begin() as connection:
            while (whose := claim(connection, now_utc_s)) is not None:
                found.append(whose[2])
        return found

    assert turns(NOW_UTC_S) == ["hilux-07", "patrol-02"]
    assert turns(NOW_UTC_S + CLAIMED_S / 2) == [], "whoever claimed it is at it"
    assert turns(NOW_UTC_S + CLAIMED_S + 1) == ["hilux-07", "patrol-02"], "whoever claimed it did not come to an end"
    with two.begin() as connection:
        connection.execute(update(years).values(made_utc_s=NOW_UTC_S))
    assert turns(NOW_UTC_S + AGAIN_S + 1) == [], "nothing came since"
    with two.begin() as connection:
        connection.execute(update(vehicles).where(vehicles.c.name == "patrol-02").values(seen_utc_s=NOW_UTC_S + 5.0))
        connection.execute(update(vehicles).where(vehicles.c.name == "hilux-07").values(line=2))
    assert turns(NOW_UTC_S + 10.0) == ["hilux-07"], "a new log is another life"
    with two.begin() as connection:
        connection.execute(update(years).where(years.c.vehicle_id == 1).values(made_utc_s=NOW_UTC_S + 20.0))
    assert turns(NOW_UTC_S + AGAIN_S + 1) == ["patrol-02"]


def test_a_vehicle_without_rows_says_why(engine: Engine) -> None:
    enrol(engine, "new-01")
    found = work_out(engine.url.render_as_string(hide_password=False), 1, 1, "new-01")
    assert json.loads(found["body"])["because"].startswith("New-01: nothing has come") and found["value"] is None


def test_the_thread_ends_at_once(engine: Engine) -> None:
    thread = YearsThread(engine)
    thread.start()
    began = time.monotonic()
    thread.close()
    assert time.monotonic() - began < 2
    with engine.connect() as connection:
        assert connection.execute(select(years)).fetchall() == []


def test_batteries_are_shown_with_the_weeks_of_the_boards_own_log(two: Engine, three_weeks: Path) -> None:
    weeks = Reader(three_weeks).weeks()
    with database.reading(two) as connection:
        groups = batteries.group_batteries(connection, NOW_UTC_S)
    points = [point for group in groups for point in group.points]
    known = [found for _, found in weeks if found.capacity_ah is not None]
    assert len(weeks) == 2 and len(known) > 0
    rated_ah = store_fixture.VEHICLE.house.rated_capacity_ah
    assert [(p.vehicle, p.capacity_frac) for p in points] == [("hilux-07", w.capacity_ah / rated_ah) for w in known]
    assert points[-1].throughput_ah == pytest.approx(sum(w.charge_out_ah for _, w in weeks))
    assert {name for group in groups for name in group.vehicles} == {"hilux-07", "patrol-02", "new-01"}
