"""The wiring picture: nothing ends in the air, every positive is fused, the board's 0 V is on the load side, for every vehicle."""
import re
from itertools import product
from xml.etree import ElementTree

import pytest

from monitor.guides import wiring_picture as picture
from monitor.guides.wiring_plan import Wiring, WiringPlan, make_plan

PLANS = [WiringPlan(join, told, trigger, shunt, solar, min(solar, 1), shore, inverter, sense, sense)
         for join, told, trigger, shunt, solar, shore, inverter, sense in product(
             ("relay", "dc_dc"), (True, False), (True, False), ("low", "high"), (0, 1, 2), (True, False), (True, False), (True, False))]
SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]


def _wires(root) -> list[tuple[str, list[Point]]]:
    """Every wire as its colour and points; symbols of earth and diode are told by their thin strokes or fills."""
    found = []
    for path in root.iter(f"{SVG}path"):
        if path.get("fill") == "none" and "stroke-linejoin" in path.attrib:
            found.append((path.get("stroke"), [(float(x), float(y)) for x, y in re.findall(r"[ML]([\d.-]+) ([\d.-]+)", path.get("d"))]))
    return found


def _boxes(root) -> list[tuple[float, float, float, float]]:
    return [tuple(float(r.get(k)) for k in ("x", "y", "width", "height")) for r in root.iter(f"{SVG}rect") if r.get("rx")]


def _on_box(p: Point, box: tuple[float, float, float, float]) -> bool:
    x, y, w, h = box
    return x - 1 <= p[0] <= x + w + 1 and y - 1 <= p[1] <= y + h + 1


def _on_wire(p: Point, points: list[Point]) -> bool:
    return any(min(a[0], b[0]) - 1 <= p[0] <= max(a[0], b[0]) + 1 and min(a[1], b[1]) - 1 <= p[1] <= max(a[1], b[1]) + 1
               for a, b in zip(points, points[1:], strict=False))


@pytest.mark.parametrize("plan", PLANS[::7], ids=str)
def test_nothing_ends_in_the_air_and_nothing_leaves_the_sheet(plan: WiringPlan) -> None:
    root = ElementTree.fromstring(picture.draw(plan))
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    wires, boxes = _wires(root), _boxes(root)
    circles = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter(f"{SVG}circle")]
    earths = [(float(x), float(y) + 7) for x, y in re.findall(r"M(\d+) (\d+) V\d+ M", picture.draw(plan))]
    for colour, points in wires:
        if points[0][1] > height - 120:
            continue  # the legend
        for p in (points[0], points[-1]):
            assert 0 <= p[0] <= width and 0 <= p[1] <= height
            touched = (any(_on_box(p, b) for b in boxes) or any(abs(p[0] - x) + abs(p[1] - y) < 8 for x, y in circles + earths)
                       or any(_on_wire(p, other) for c, other in wires if other is not points and c == colour) or colour == picture.INK)
            assert touched, (colour, p)


def _fuses(root) -> list[Point]:
    return [(x + w / 2, y + h / 2) for x, y, w, h in _boxes(root) if (w, h) in ((22, 12), (12, 22))]


@pytest.mark.parametrize("plan", PLANS, ids=str)
def test_every_positive_has_its_fuse(plan: WiringPlan) -> None:
    """Two of the join, the main one, the board's, one a row, one of the legend; sense leads and trigger besides."""
    root = ElementTree.fromstring(picture.draw(plan))
    rows = 1 + plan.inverter + plan.solar_charger_count + plan.shore_charger
    wanted = 2 + 1 + 1 + rows + 1 + 1 + plan.starter_sense + plan.trigger + 2 * (plan.shunt_side == "high")
    fuses = _fuses(root)
    assert len(fuses) == wanted
    positives = [points for colour, points in _wires(root) if colour in (picture.PLUS, picture.SENSE)]
    for fuse in fuses[:-1]:
        assert any(_on_wire(fuse, points) for points in positives), fuse


def test_the_boards_0_v_and_every_row_end_on_the_load_side() -> None:
    """Lowest point of the board's negative is the bus, below the shunt; the battery side has one cable only."""
    for plan in (WiringPlan(), WiringPlan(join="dc_dc", inverter=True)):
        wires = _wires(ElementTree.fromstring(picture.draw(plan)))
        negatives = [points for colour, points in wires if colour == picture.MINUS and points[0][1] < picture.FIRST_ROW_Y]
        board = [points for points in negatives if points[0] == (220, 338)]
        assert board and board[0][-1] == (220, picture.EARTH_Y)
        shunt_x, shunt_y = picture.HOUSE_X + 20, 372
        above = [points for points in negatives if any(x == shunt_x and y < shunt_y for x, y in points)]
        assert len(above) == 1


def test_texts_stay_within_the_sheet() -> None:
    """At 0.6 em a letter, a careful width for a plain face."""
    for plan in PLANS[::5]:
        for text in ElementTree.fromstring(picture.draw(plan)).iter(f"{SVG}text"):
            x, size = float(text.get("x")), float(text.get("font-size"))
            wide = 0.56 * size * len(text.text)
            left = x - {"start": 0, "middle": wide / 2, "end": wide}[text.get("text-anchor")]
            assert left > -2 and left + wide < picture.WIDTH + 4, text.text


def test_a_plan_follows_configuration_log_and_sensors() -> None:
    usual = make_plan(Wiring(), "unknown", "unknown", {"starter_voltage_v"})
    assert usual.join == "relay" and not usual.join_known and usual.starter_sense and not usual.thermometer
    assert make_plan(Wiring(), "unknown", "unknown", set(), "dc_dc").join == "dc_dc"
    two = make_plan(Wiring(solar_charger_count=1), "isolator", "voltage", {"solar_current_a", "solar_2_current_a"})
    assert (two.solar_charger_count, two.solar_measured_count, two.trigger) == (2, 2, False)


def test_the_command_writes_the_picture_of_the_configuration(tmp_path) -> None:
    from click.testing import CliRunner

    from monitor.cli import commands

    (tmp_path / "v.toml").write_text('[house]\nchemistry = "agm"\nrated_capacity_ah = 100\n[starter]\nchemistry = '
                                     '"flooded"\nrated_capacity_ah = 70\n'
                                     '[vehicle]\ncharging = "dc_dc"\n[wiring]\nshunt_side = "high"\nsolar_charger_count = 2\n')
    done = CliRunner().invoke(commands, ["wiring", "--config", str(tmp_path / "v.toml"), "--picture", str(tmp_path / "w.svg")])
    assert done.exit_code == 0 and "positive lead" in done.output
    assert "solar charger 2" in (tmp_path / "w.svg").read_text() and "DC-DC" in (tmp_path / "w.svg").read_text()
    assert "# Wiring" in CliRunner().invoke(commands, ["wiring", "--config", str(tmp_path / "v.toml")]).output
    (tmp_path / "v.toml").write_text((tmp_path / "v.toml").read_text().replace('"high"', '"side"').replace("= 2", "= 9"))
    bad = CliRunner().invoke(commands, ["wiring", "--config", str(tmp_path / "v.toml")])
    assert bad.exit_code == 1 and "shunt_side" in bad.output and "solar_charger_count" in bad.output


def test_the_ventilation_command_reckons_and_refuses() -> None:
    from click.testing import CliRunner

    from monitor.cli import commands

    assert "0.60 m³/h" in CliRunner().invoke(commands, ["ventilation", "--battery", "flooded,100"]).output
    for bad, words in ((["--battery", "lfp,100"], "no gas"), (["--battery", "agm,0"], "between 1 and 5000"), (["--battery", "agm,100",
        "--gas", "-3"], "200 is the limit"),
                       (["--battery", "zinc,100"], "there are flooded, agm, gel, lfp")):
        done = CliRunner().invoke(commands, ["ventilation", *bad])
        assert done.exit_code == (2 if "zinc,100" in bad else 1) and words in done.output
