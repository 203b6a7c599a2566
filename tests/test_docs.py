"""The docs against the code: every driver, alert and link."""
import re
from pathlib import Path

import pytest

from drivers import DRIVERS

ROOT = Path(__file__).parent.parent
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])


def test_every_driver_has_its_section() -> None:
    text = (ROOT / "docs" / "drivers.md").read_text()
    assert [name for name in DRIVERS if f"\n## {name}\n" not in text] == []


def _kinds() -> set[str]:
    """Every kind that a Condition or Event is made with, anywhere in the code."""
    found: set[str] = set()
    for path in (ROOT / "monitor").rglob("*.py"):
        found |= set(re.findall(r'\bCondition\(\s*"([a-z_]+)"', path.read_text()))
    return found - {"test"}


def test_every_alert_has_its_section() -> None:
    text = (ROOT / "docs" / "alerts.md").read_text()
    assert sorted(kind for kind in _kinds() if f"`{kind}`" not in text) == []


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_every_link_leads_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text()):
        if not target.startswith(("http:", "https:", "mailto:")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_nothing_points_outside_the_project(page: Path) -> None:
    assert not re.search(r"(?<![\w.])/(work|root|tmp)/", page.read_text())


def test_every_paper_cited_is_among_the_references() -> None:
    """Volume, year and first page, as "168 (2007) 66"."""
    known = (ROOT / "docs" / "references.md").read_text()
    texts = [path for folder in ("monitor", "drivers", "dashboard", "tests", "docs")
             for kind in ("*.py", "*.md") for path in (ROOT / folder).rglob(kind)]
    cited = {" ".join(paper.split()) for path in texts
             for paper in re.findall(r"\b\d+\s\((?:1[89]|20)\d\d\)\s[A-Z]?\d+", path.read_text())}
    # Two papers of one volume are named together there.
    assert sorted(paper for paper in cited if paper not in known and paper.rsplit(" ", 1)[1] not in known) == []
    assert len(cited) > 20


def test_the_readme_says_at_once_whom_it_is_for_and_the_guide_stays_short() -> None:
    readme, guide = (ROOT / "README.md").read_text(), (ROOT / "docs" / "guide.md").read_text()
    assert len(readme.split()) <= 350 and "is for people who travel" in readme.split("\n\n")[1].partition(".")[0]
    assert len(guide.split()) <= 4000
    assert all(f"## {question}" in guide for question in (
        "Will it last the night?", "It will not start", "Is the battery finished?", "What do I buy?"))


def test_every_document_stands_on_a_shelf() -> None:
    from monitor import documents

    shelves = documents.shelves()
    placed = [name for row in shelves.values() for name in row]
    assert sorted(placed) == documents.names() and all(shelves.values())
    assert all(name in placed for row in documents.SHELVES.values() for name in row)
