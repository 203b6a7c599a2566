"""What a person asks first is answered on the first screen of a phone, in at most twelve words."""
import re

import pytest

from monitor.findings import ChargeFindings, Estimate, ForecastFindings, NotYet
from monitor.reporting import answers, load_words
from monitor.usage.load_shares import LoadSharesFindings
from tests.dashboard.test_browser import CHROMIUM, PHONE, browser, opened, site  # noqa: F401 - fixtures

#: Height of a phone's screen above the index at its foot [px].
SEEN_PX = 844 - 54
#: Question -> (page, where it is answered).
ANSWERS = {
    "how full": ("/", ".answers .sum"), "does it last the night": ("/", "#tonight"), "is the starter safe": ("/", "#starter"),
    "what took the charge": ("/", "#took"), "how long until full": ("/tonight", "#until-full"), "the night": ("/tonight", "#tonight"),
    "replace it": ("/health", "#verdict"), "by what": ("/health", "a[href='/what-if']"), "last full": ("/health", "#care tr:nth-child(1)"),
    "since when hot": ("/health", "#care tr:has-text('hot')"),
}


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium")
def test_each_question_is_answered_on_the_first_screen(site: str, opened) -> None:  # noqa: F811 - fixtures
    page, missed = opened(site, **PHONE), []
    for question, (path, where) in ANSWERS.items():
        page.goto(site + path)
        found = page.locator(where).first
        if not found.count():
            missed.append(f"{question}: nothing at {where}")
            continue
        box, text = found.bounding_box(), " ".join(found.inner_text().split())
        if box["y"] + box["height"] > SEEN_PX:
            missed.append(f"{question}: ends at {box['y'] + box['height']:.0f} px: {text}")
        longest = max((len(sentence.split()) for sentence in re.split(r"(?<=[.:?!]) ", text)), default=0)
        if longest > 12:
            missed.append(f"{question}: {longest} words: {text}")
    page.goto(site)
    acts = page.locator("#to-do")
    if acts.count():
        box = acts.locator("b").first.bounding_box()
        assert box["y"] + box["height"] <= SEEN_PX and len(acts.locator("b").first.inner_text().split()) <= 12
    assert missed == []


HALF = ChargeFindings(Estimate(0.5, 0.45, 0.55, "counting"), Estimate(100.0, 90.0, 110.0, "learnt"), *(NotYet("-"),) * 4)


@pytest.mark.parametrize(("charge", "full_in_s", "drive_a", "words"), [
    (0.5, 5 * 3600.0, 20.0, "Full about 15:00, or 2 h driving to 90 %."),
    (0.5, None, 20.0, "About 2 h driving to 90 %."),
    (0.95, 5 * 3600.0, 20.0, "The house battery is full, or nearly."),
    (0.5, None, None, ""),
])
def test_how_long_until_full_by_hand(charge: float, full_in_s: float | None, drive_a: float | None, words: str) -> None:
    """40 Ah are missing to 90 % of 100 Ah: two hours at 20 A."""
    from dataclasses import replace

    found = answers.until_full(ForecastFindings(0.0, None, "", full_in_s=full_in_s), replace(HALF, charge_frac=Estimate(
        charge, charge, charge, "counting")), NotYet("-") if drive_a is None else Estimate(drive_a, drive_a, drive_a, "measured"), 10.0)
    assert re.sub(r"about |today |in ", "", found) == re.sub(r"about |today |in ", "", words)
    assert len(found.split()) <= 12


def test_what_took_the_charge_is_not_said_where_it_is_not_known() -> None:
    assert load_words.headline(LoadSharesFindings(), 12.34) == "12.3 Ah drawn from the house battery today."
    assert load_words.headline(LoadSharesFindings(because="the shunt counts the wrong way round"), 12.3) == ""
    assert load_words.headline(LoadSharesFindings(), None) == ""
