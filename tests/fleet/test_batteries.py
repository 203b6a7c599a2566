"""How long batteries last, against a published example; how the fleet's alerts and digest go out once."""
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, select

from monitor.fleet import batteries, by_hand, database, judging, keys, overview, rounds
from monitor.fleet.batteries import Service
from monitor.fleet.tables import alerts, replays
from monitor.logbook.entries import UNDONE
from monitor.store.checksum import add_checksum, insert_of
from tests.fleet.lines import NOW_UTC_S

#: Freireich and others 1963, remission of acute leukaemia under 6-mercaptopurine, weeks; the textbook example of the estimator of Kaplan
#: and Meier (as in Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, from memory). + is still in remission.
FREIREICH = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
#: week -> part still in remission, as printed there (three decimals)
PRINTED = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def test_survival_against_the_published_example() -> None:
    services = tuple(Service(float(word.rstrip("+")), not word.endswith("+")) for word in FREIREICH.split())
    steps = {step.weeks: step for step in batteries.survival(services)}
    for weeks, part in PRINTED.items():
        assert steps[weeks].part_frac == pytest.approx(part, abs=0.0006), weeks
        assert steps[weeks].low_frac < part < steps[weeks].high_frac
    assert steps[23].high_frac - steps[23].low_frac > steps[6].high_frac - steps[6].low_frac, "fewer are left to tell"


def test_while_none_was_taken_out_nothing_is_said_of_how_long_they_last() -> None:
    assert batteries.survival((Service(100.0, False), Service(3.0, False))) == []


@pytest.fixture
def two(engine: Engine, published_log: Path) -> Engine:
    with engine.begin() as connection:
        for name in ("hilux-07", "patrol-02"):
            keys.enrol(connection, name, NOW_UTC_S)
    assert by_hand.import_log(engine, published_log, "hilux-07", NOW_UTC_S).batches > 0
    return engine


def test_a_copied_log_is_taken_once(two: Engine, published_log: Path, tmp_path: Path) -> None:
    assert by_hand.import_log(two, published_log, "hilux-07", NOW_UTC_S).batches == 0
    (tmp_path / "no.db").write_bytes(b"no log at all, just some bytes that lie around" * 40)
    with pytest.raises(by_hand.NotImported, match="not a log of ampledger"):
        by_hand.import_log(two, tmp_path / "no.db", "hilux-07", NOW_UTC_S)
    with pytest.raises(keys.NoVehicle, match="there are hilux-07, patrol-02"):
        by_hand.import_log(two, published_log, "ghost", NOW_UTC_S)


class Told:
    """In place of the ways that alerts go out."""

    def __init__(self) -> None:
        self.changes: list[Any] = []

    def offer(self, change: Any) -> None:
        self.changes.append(change)


def test_each_alert_and_each_days_digest_goes_out_once_however_many_collectors_run(two: Engine) -> None:
    told = Told()
    collectors = [rounds.Rounds(two, told, "00:00", lambda: NOW_UTC_S) for _ in range(3)]
    for _ in range(2):
        for collector in collectors:
            collector.look()
    kinds = [change.alert.kind for change in told.changes]
    assert kinds.count("house_low") == 1 and kinds.count("fleet_digest") == 1
    low = next(c.alert for c in told.changes if c.alert.kind == "house_low")
    assert low.seen == "hilux-07: The house battery is at 31 %."
    digest = next(c.alert for c in told.changes if c.alert.kind == "fleet_digest")
    assert digest.seen == "2 of 2 vehicles need a look."
    assert "patrol-02: Nothing has come from its board yet." in digest.means
    later = rounds.Rounds(two, told, "00:00", lambda: NOW_UTC_S + 86400)
    later.look()
    assert [c.alert.kind for c in told.changes].count("fleet_digest") == 2


def test_stored_minutes_are_judged_again_and_kept(two: Engine) -> None:
    lines = judging.judge_fleet(two, ("hilux-07",), "first", NOW_UTC_S)
    with two.connect() as connection:
        kept = connection.execute(select(replays.c.body)).scalars().all()
    assert len(kept) == 1 and '"minutes": 43' in kept[0]
    assert lines[1].startswith("hilux-07")
    with pytest.raises(judging.NotJudged, match="already"):
        judging.judge_fleet(two, ("hilux-07",), "first", NOW_UTC_S)


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)      # minutes are judged alike on both
def test_what_the_owner_told_is_judged_along_unless_it_was_undone(engine: Engine, published_log: Path, tmp_path: Path) -> None:
    """As reliving a log does on the board: a battery that was replaced begins anew."""
    at_s, address = 2.9 * 86400, engine.url.render_as_string(hide_password=False)
    events = {"plain": [], "told": [("battery_replaced", "[]")], "undone": [("battery_replaced", "[]"), (UNDONE, f'[["of_at_s", {at_s}]]')]}
    judged = {}
    for number, (name, told) in enumerate(events.items(), 1):
        shutil.copytree(published_log.parent, tmp_path / name)
        log = tmp_path / name / "ampledger.db"
        with closing(sqlite3.connect(log)) as connection, connection:
            first = connection.execute("select max(id) from events").fetchone()[0] + 1
            for place, (kind, figures) in enumerate(told):
                row = (first + place, round(1000 * at_s) + place, kind, "house", "As the owner said.", figures)
                connection.execute(insert_of("events"), add_checksum("events", row))
        with engine.begin() as connection:
            keys.enrol(connection, name, NOW_UTC_S)
        by_hand.import_log(engine, log, name, NOW_UTC_S)
        judged[name] = judging.judge_vehicle(address, number, 1, name)
    assert judged["plain"].charge_frac == judged["undone"].charge_frac != judged["told"].charge_frac is not None


def test_vehicles_are_in_order_of_need(two: Engine) -> None:
    with database.reading(two) as connection:
        lines = overview.list_vehicles(connection, NOW_UTC_S)
        late = overview.list_vehicles(connection, NOW_UTC_S + 30 * 86400)
    assert [line.need for line in lines] == ["high", "silent"]
    assert late[0].sentence == "The house battery is at 31 %."


def test_the_migrations_lead_to_the_tables(engine: Engine) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    from monitor.fleet.tables import metadata

    with engine.connect() as connection:
        def ours(kind: str, name: str | None) -> bool:
            return not (kind == "table" and name is not None and name.startswith("blocks_"))  # the months' parts

        context = MigrationContext.configure(connection, opts={"include_name": lambda name, kind, _: ours(kind, name)})
        assert compare_metadata(context, metadata) == []


def test_drains_are_counted_by_vehicle(two: Engine) -> None:
    def drain(connection: Any, number: int) -> None:
        connection.execute(alerts.insert().values(vehicle_id=2, line=1, id=number, at_ms=number, state="normal", kind="starter_drain",
                                                  row="[]", told=1))

    with two.begin() as connection:
        drain(connection, 7)
        drain(connection, 8)
        groups = batteries.group_batteries(connection, NOW_UTC_S)
    assert [found for group in groups for found in group.drains] == [("patrol-02", 2)]
