"""The circuit sheet: what it says of known circuits, what it refuses, whole systems, text, data and page."""
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.circuits import source, words
from monitor.circuits.circuit import Circuit, Refused
from monitor.circuits.design import CAUTION, Sheet, design
from monitor.cli import commands
from monitor.config import circuit_tables
from monitor.config.faults import ConfigError

AGM = source.battery_supply("house", "agm", 100)
SYSTEM = """
[battery.house]
chemistry = "agm"
capacity_ah = 100
count = 2
[battery.starter]
chemistry = "flooded"
cranking_a = 700
[[circuit]]
name = "panel"
current_a = 60
length_m = 1.5
insulation_c = 105
drop_pct = 2
[[circuit]]
name = "fridge"
source = "panel"
current_a = 5
length_m = 4
[[circuit]]
name = "link"
kind = "link"
to = "starter"
current_a = 80
length_m = 4
place = "engine bay"
insulation_c = 125
"""


def _run(*arguments: object):
    return CliRunner().invoke(commands, [str(a) for a in arguments])


def test_300_amperes_over_30_centimetres_is_no_longer_10_mm2() -> None:
    """By drop alone it was; in an engine bay it needs the thickest there is, or is refused with the reason."""
    sized = design(Circuit("link", 300, 0.3, kind="link", insulation_c=105, ambient_c=30, loaded_count=1), AGM)
    assert sized.run.area_mm2 >= 95 and sized.run.decided_by == "ampacity"
    with pytest.raises(Refused, match="even 120 mm² may carry 304 A there"):
        design(Circuit("link", 300, 0.3, kind="link", insulation_c=105, place="engine bay", loaded_count=1), AGM)
    with pytest.raises(Refused, match="even 120 mm² may carry only 237 A there"):
        design(Circuit("link", 300, 0.3, kind="link", insulation_c=105, place="engine bay"), AGM)


def test_a_thin_long_run_is_decided_by_its_drop_and_a_thick_short_one_by_heat() -> None:
    assert design(Circuit("fridge", 5, 4), AGM).run.decided_by == "drop"
    assert design(Circuit("inverter", 160, 0.8, insulation_c=105), AGM).run.decided_by == "ampacity"


def test_both_ends_of_a_link_get_a_fuse_that_breaks_the_stronger_battery() -> None:
    plan = design(Circuit("link", 80, 4, kind="link", insulation_c=105), AGM, source.battery_supply("starter", "flooded", cranking_a=900,
        count=3))
    assert plan.fuse_count == 2 and plan.supply.short_circuit_a == pytest.approx(3 * 12.7 / 0.003)
    assert plan.run.fuse.breaking_a >= 12_700
    assert plan.relay is not None and plan.relay.continuous_a == 100 and plan.relay.make_a > 100


def test_a_sense_lead_gets_a_fuse_of_one_ampere() -> None:
    assert design(Circuit("sense", 0.1, 4, kind="sense"), AGM).run.fuse.rating_a == 1


def test_a_relays_coil_wire_is_fused_and_told_of_its_diode() -> None:
    plan = design(Circuit("trigger", 0.3, 6, kind="control"), AGM)
    assert plan.run.fuse.rating_a <= 3 and any("diode" in note for note in plan.notes)


@pytest.mark.parametrize(("circuit", "sentence"), [
    (Circuit("x", 0, 4), "current_a is 0 A: it must lie between 0.001 and 1000"),
    (Circuit("x", float("nan"), 4), "current_a is nan"),
    (Circuit("x", 5, -1), "length_m is -1 m one way"),
    (Circuit("x", 5, 4, insulation_c=250), "33 CFR 183.425 table 5"),
    (Circuit("x", 5, 4, drop_pct=50), "ABYC E-11"),
    (Circuit("x", 5, 4, place="engine bay"), "the air is 70 °C in the engine bay and the insulation counts as class 60 °C"),
    (Circuit("x", 5, 4, fuse_distance_m=0.4), "178 mm, and 1016 mm"),
    (Circuit("x", 5, 4, fuse_distance_m=1.5, sheathed=True), "33 CFR 183.455"),
    (Circuit("x", 7, 4, conductor="1.5 mm2", fuse_a=30), "1.5 mm² is not protected by a 30 A fuse: it may carry 10 A there"),
    (Circuit("x", 30, 4, conductor="1.5 mm2"), "1.5 mm² may carry only 10 A there"),
    (Circuit("x", 30, 4, conductor="13 mm2"), "no conductor '13 mm2'"),
    (Circuit("x", 10, 4, conductor="6 mm2", fuse_a=10), "need a fuse of 12.5 A or more"),
    (Circuit("x", 15, 20, conductor="6 mm2"), "drops"),
    (Circuit("x", 500, 1), "less than the 500 A that flow"),
    (Circuit("x", 5, 4, laid="insulation", loaded_count=12), "no more than 6 there"),
    (Circuit("x", 2, 45, drop_pct=10, conductor="0.75 mm2"), "%"),
])
def test_what_cannot_be_or_is_not_safe_is_refused_in_one_sentence(circuit: Circuit, sentence: str) -> None:
    with pytest.raises(Refused) as refused:
        design(circuit, AGM)
    assert sentence in str(refused.value) and "\n" not in str(refused.value)


def test_a_conductor_that_is_there_is_checked_in_either_series() -> None:
    assert design(Circuit("x", 30, 2, conductor="6 AWG", insulation_c=105), AGM).run.conductor == "6 AWG"
    assert design(Circuit("x", 5, 4, conductor="4 mm²", fuse_a=10), AGM).run.fuse.rating_a == 10


def test_what_hangs_on_a_panel_shares_its_drop_and_its_main_fuse(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(SYSTEM)
    sheet = circuit_tables.load(tmp_path / "s.toml")
    panel, fridge, link = sheet.plans
    assert fridge.supply.short_circuit_a < panel.supply.short_circuit_a and fridge.supply.behind_main
    assert fridge.run.load_v == pytest.approx(12 - panel.run.drop_v - fridge.run.drop_v)
    assert fridge.run.fuse.kind == "blade fuse" and fridge.run.fuse.backed_up
    assert any("main fuse before it" in note for note in fridge.notes)
    assert any("2 batteries in parallel" in note for note in panel.notes)
    assert link.fuse_count == 2
    assert not sheet.refused


def test_one_refused_circuit_does_not_hide_the_others(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(SYSTEM + '[[circuit]]\nname = "winch"\ncurrent_a = 900\nlength_m = 4\n')
    done = _run("circuit", "--file", tmp_path / "s.toml", "--page", tmp_path / "sheet.html")
    assert done.exit_code == 1 and "winch: even 120 mm²" in done.output and "\nfridge: " in done.output
    page = (tmp_path / "sheet.html").read_text()
    assert "winch" in page and page.count(CAUTION) == 2 and "http" not in page


@pytest.mark.parametrize(("change", "words_"), [
    (("capacity_ah", "capcity_ah"), "did you mean capacity_ah?"),
    (('source = "panel"', 'source = "pannel"'), "no battery and no circuit has this name"),
    (('to = "starter"', 'to = "start"'), "no battery has this name"),
    (('kind = "link"', 'kind = "load"'), "a link names the second battery"),
    (('name = "fridge"', 'name = "panel"'), "another circuit or battery has this name"),
    (("current_a = 60", 'source = "fridge"\ncurrent_a = 60'), "feed each other in a ring"),
    (("count = 2", "count = 200"), "between 1 and 20"),
    (('chemistry = "agm"\n', ""), "is missing"),
    (("[battery.house]", "battery.house]"), "it is not TOML"),
])
def test_every_fault_of_a_system_file_has_its_place(tmp_path: Path, change: tuple[str, str], words_: str) -> None:
    (tmp_path / "s.toml").write_text(SYSTEM.replace(*change, 1))
    with pytest.raises(ConfigError, match=words_.replace("?", r"\?")):
        circuit_tables.load(tmp_path / "s.toml")


def test_the_command_takes_one_circuit_or_several_and_says_json() -> None:
    one = _run("circuit", "--current", 30, "--length", 4, "--insulation", 105, "--battery", "agm,100")
    assert one.exit_code == 0 and "16 mm²" in one.output and "fuse 40 A" in one.output and CAUTION in one.output
    many = _run("circuit", "--circuit", "fridge,5,4", "--circuit", "lights,2,6", "--battery", "agm,100", "--json")
    found = json.loads(many.output)
    assert [c["circuit"]["name"] for c in found["circuits"]] == ["fridge", "lights"] and found["caution"] == CAUTION
    assert found["circuits"][0]["run"]["fuse"]["rating_a"] == 8


@pytest.mark.parametrize(("arguments", "words_"), [
    (("--current", 5), "belong together"), ((), "name a circuit"), (("--circuit", "fridge,5"), "write it as fridge,5,4"),
    (("--current", 5, "--length", 4, "--battery", "agm"), "write it as agm,100"),
    (("--current", 5, "--length", 4, "--battery", "nicd,100"), "there are flooded, agm, gel, lfp"),
    (("--current", 5, "--length", 4, "--battery", "agm,1e9"), "between 1 and 5000"),
    (("--current", 5, "--length", 4, "--short-circuit", 1), "between 50 and 100000"),
    (("--file", "nowhere.toml"), "there is no such file"), (("--file", "a.toml", "--current", 4), "not both"),
])
def test_bad_options_get_one_sentence(arguments: tuple, words_: str) -> None:
    done = _run("circuit", *arguments)
    assert done.exit_code != 0 and words_ in done.output.replace("\n       ", " ") and "Traceback" not in done.output


@pytest.mark.parametrize("arguments", [("circuit", "--current", 5, "--length", 4, "--page"), ("wiring", "--picture")])
def test_a_file_that_cannot_be_written_is_one_sentence(arguments: tuple, tmp_path: Path) -> None:
    done = _run(*arguments, tmp_path / "nowhere" / "sheet")
    assert done.exit_code == 1 and "cannot be written" in done.output and ".part" not in done.output


def test_one_battery_that_no_fuse_breaks_is_not_told_of_parallel_ones() -> None:
    with pytest.raises(Refused, match=r"the strongest breaks 25 kA.*names its short-circuit current"):
        design(Circuit("x", 30, 1), source.battery_supply("house", "lfp", 400))


def test_wire_says_what_took_its_place() -> None:
    done = _run("wire", "--current", 30, "--length", 4)
    assert done.exit_code == 1 and "ampledger circuit" in done.output


def test_the_page_escapes_what_the_owner_calls_things() -> None:
    plan = design(Circuit("<b>pump", 5, 2), AGM)
    assert "<b>pump" not in words.format_page(Sheet((plan,)))


def test_the_system_in_the_docs_is_designed_without_a_refusal(tmp_path: Path) -> None:
    text = (Path(__file__).parents[2] / "docs" / "wiring.md").read_text().split("```toml\n")[1].split("```")[0]
    (tmp_path / "s.toml").write_text(text)
    sheet = circuit_tables.load(tmp_path / "s.toml")
    assert len(sheet.plans) == 3 and not sheet.refused
