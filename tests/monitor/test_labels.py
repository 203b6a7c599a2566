"""Labels as people type them: what is read, what does not agree, what is not known; whether it fits."""
import json

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.cli import commands
from monitor.planning.labels import read_label
from monitor.planning.labels_fit import check_fit, read_tray


@pytest.mark.parametrize(("text", "kind", "capacity", "sae"), [
    ("12V 95Ah 850A (EN) 353x175x190 AGM", "agm", 95, 895), ("H6 AGM 70Ah 760 CCA", "agm", 70, 760),
    ("12 V 63 Ah 610A(EN1) L2", "", 63, 642),
    ("LiFePO4 100Ah 12.8V 1280Wh", "lfp", 100, None), ("CCA(SAE) 760 RC 120 flooded", "flooded", 76, 760), ("560 408 054", "", 60, 568),
    ("GEL 80Ah (C5)", "gel", 95, None), ("C20: 100Ah, C100: 118Ah", "", 100, None), ("115Ah/20h 1000 MCA", "", 115, 800),
    ("105D31L 90 Ah", "", 90, None), ("wet 1,2 kWh", "flooded", 100, None)])
def test_what_is_read(text: str, kind: str, capacity: float, sae: float | None) -> None:
    found = read_label(text)
    assert found.kind == kind and found.capacity_ah is not None and found.capacity_ah.usual == pytest.approx(capacity, abs=1)
    assert not found.unknown
    if sae is not None:
        assert found.cranking_sae_a is not None and found.cranking_sae_a.usual == pytest.approx(sae, abs=1)


def test_parts_stand_in_the_order_of_the_label() -> None:
    assert [p.text for p in read_label("12V 95Ah 850A EN 353x175x190 AGM R+").parts] == [
        "12V", "95AH", "850A EN", "353X175X190", "AGM", "R+"]


def test_no_norm_gives_a_wider_range() -> None:
    bare, said = read_label("45Ah 330A").cranking_sae_a, read_label("45Ah 330A EN").cranking_sae_a
    assert bare is not None and said is not None and bare.high - bare.low > said.high - said.low


@pytest.mark.parametrize(("text", "sentence"), [
    ("55B25R", "55B25R is no code of a standard this program knows; the nearest it knows is 55B24R"),
    ("LN9", "the nearest it knows is LN"), ("Group 99", "the nearest it knows is Group "), ("6V 200Ah", "6 V battery"),
    ("", "one line of 1 to 200 characters"), ("hello", "nothing in 'hello'"), ("9999Ah", "capacity is 9999 Ah"),
    ("100Ah 3x4x5 mm", "a side is 3 mm"), ("x" * 300, "1 to 200 characters"), ("70Ah 9000 CCA", "cold-cranking current is 9000 A"),
    ("80Ah RC 3", "reserve capacity is 3 min")])
def test_what_cannot_be_is_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(ValueError) as refused:
        read_label(text)
    assert sentence in str(refused.value) and "\n" not in str(refused.value)


@pytest.mark.parametrize(("text", "doubt"), [
    ("LiFePO4 100Ah 2560Wh", "do not agree"), ("300Ah AGM 240x175x190", "more than any AGM battery holds"),
    ("95Ah RC 35", "35 reserve minutes go with")])
def test_what_does_not_agree_is_said(text: str, doubt: str) -> None:
    assert any(doubt in sentence for sentence in read_label(text).doubts)


def test_a_part_that_is_not_known_does_not_lose_the_rest() -> None:
    found = read_label("70Ah AGM 57X99")
    assert found.capacity_ah is not None and len(found.unknown) == 1 and found.unknown[0].startswith("57X99 is no code")


@pytest.mark.parametrize(("text", "tray", "lying", "verdict"), [
    ("LN4", "330x185x225", False, "yes"), ("LN4", "320x180x210", False, "tight"), ("LN4", "300x180x230", False, "no"),
    ("AGM LN2", "260x230x185", False, "no"), ("AGM LN2", "260x230x185", True, "yes"), ("flooded LN2", "260x230x185", True, "no"),
    ("95Ah", "300x200x200", False, "unknown"), ("LN2", "185x250x215", False, "yes")])
def test_whether_it_fits(text: str, tray: str, lying: bool, verdict: str) -> None:
    found = check_fit(read_label(text), read_tray(tray, lying))
    assert found.verdict == verdict, found
    if text.startswith("flooded"):
        assert "upright" in " ".join(found.reasons)


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_a_sentence(text: str) -> None:
    try:
        found = read_label(text)
    except ValueError as error:
        assert "\n" not in str(error)  # noqa: PT017 - either way is right
    else:
        assert found.parts


def test_the_command() -> None:
    said = CliRunner().invoke(commands, ["label", "12V", "95Ah", "850A", "EN", "353x175x190", "--kind", "agm", "--tray", "370x190x230"])
    assert said.exit_code == 0 and "95 Ah, AGM" in said.output and "It fits" in said.output and "measure the box" in said.output
    plain = json.loads(CliRunner().invoke(commands, ["label", "55B24R", "--json"]).output)
    assert plain["plus"] == "right" and plain["size"]["length_mm"] == 240
    refused = CliRunner().invoke(commands, ["label", "55B25R"])
    assert refused.exit_code == 1 and refused.output.count("\n") == 1
