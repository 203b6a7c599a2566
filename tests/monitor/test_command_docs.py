"""docs/ says what the program says: commands, settings, alerts, the schema and the example."""
import ast
import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from monitor.config import load
from tests.docs_text import DOCS, between, copied, made

SOURCES = sorted((DOCS.parent / "monitor").rglob("*.py"))


@pytest.mark.parametrize(("document", "marker"), list(made()))
def test_what_is_made_from_the_code_is_current(document: str, marker: str) -> None:
    _, inside, _ = between((DOCS / document).read_text(), marker)
    assert inside == made()[document, marker], "run: python -m tests.docs_text"


@pytest.mark.parametrize("document", list(copied()))
def test_the_docs_hold_the_guides_as_they_are_packaged(document: str) -> None:
    assert (DOCS / document).read_text() == copied()[document], "run: python -m tests.docs_text"


def test_the_published_schema_is_current_and_itself_valid() -> None:
    text = (DOCS / "ampledger.schema.json").read_text()
    assert text == load.schema_text(), "run: python -m tests.docs_text"
    jsonschema.Draft202012Validator.check_schema(json.loads(text))


def _examples() -> dict[str, str]:
    configuration = (DOCS / "configuration.md").read_text()
    cut = lambda text, number: text.split("```toml\n")[number].split("```")[0]  # noqa: E731
    return {"example.toml": (DOCS / "example.toml").read_text(), "configuration.md": cut(configuration, 1),
            "configuration.md, an ordinary one": cut(configuration, 2)}


@pytest.mark.parametrize("name", ["example.toml", "configuration.md", "configuration.md, an ordinary one"])
def test_every_example_loads_and_fits_the_schema(tmp_path: Path, name: str) -> None:
    text = _examples()[name]
    (tmp_path / "ampledger.toml").write_text(text)
    assert load.load(tmp_path / "ampledger.toml").sources
    jsonschema.validate(tomllib.loads(text), json.loads(load.schema_text()))


def test_the_schema_refuses_what_the_program_refuses() -> None:
    schema = json.loads(load.schema_text())
    good = {"house": {"chemistry": "agm", "rated_capacity_ah": 60}, "starter": {"chemistry": "agm", "rated_capacity_ah": 60}}
    jsonschema.validate(good, schema)
    for bad in ({"house": good["house"]}, good | {"hause": {}}, good | {"log": {"beat_s": 0}},
                good | {"starter": {"chemistry": "nicd", "rated_capacity_ah": 60}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(bad, schema)


def test_the_example_shows_every_table() -> None:
    shown = (DOCS / "example.toml").read_text()
    from monitor.config.tables import File

    assert not [name for name in File.model_fields if f"[{name}]" not in shown]


def _kinds() -> set[str]:
    """Every kind of alert in the code: the first argument of Condition(...), a name standing for what it was set to."""
    found = set()
    for path in SOURCES:
        if path.parent.name == "commands":
            continue  # the test alert is none
        if "Condition(" not in (text := path.read_text()):
            continue
        tree = ast.parse(text)
        constants = {node.targets[0].id: node.value.value for node in tree.body if isinstance(node, ast.Assign)
                     and isinstance(node.targets[0], ast.Name) and isinstance(node.value, ast.Constant)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Condition" and node.args:
                first = node.args[0]
                kind = first.value if isinstance(first, ast.Constant) else constants.get(getattr(first, "id", ""))
                if isinstance(kind, str):
                    found.add(kind)
    return found


def test_every_alert_is_explained() -> None:
    from monitor import pipeline
    from monitor.battery.label import Battery, Vehicle
    from monitor.sample import Sample
    from monitor.sampling.gather import minutes

    vehicle = Vehicle(Battery("house", "lfp", 100), Battery("starter", "flooded", 70))
    held = pipeline.begin(vehicle)
    kinds = _kinds()
    for minute in minutes(Sample(60.0 * k, 13.2, -1.0, 12.7, 20.0) for k in range(1, 4)):
        held, found = pipeline.step(held, minute, vehicle)
        kinds |= {condition.kind for condition in found.conditions}
    text = (DOCS / "alerts.md").read_text()
    assert len(kinds) > 20
    assert not sorted(kind for kind in kinds if f"`{kind}`" not in text)
