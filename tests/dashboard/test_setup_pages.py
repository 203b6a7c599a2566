"""The pages of set-up by themselves: every question renders without the log's pages behind it."""
from pathlib import Path

import pytest
from werkzeug.security import generate_password_hash

from dashboard.setup_pages import create_app
from dashboard.setup_words import QUESTIONS
from monitor.commissioning import shared_folder
from tests.dashboard.test_pages import Text

CODE = "1234-567-890"


@pytest.fixture
def phone(tmp_path: Path):
    (tmp_path / "answers").mkdir()
    client = create_app(tmp_path, generate_password_hash(CODE)).test_client()
    assert client.get("/").status_code == 401
    page = client.get("/code").text
    token = page.split('name="token" value="')[1].split('"')[0]
    assert client.post("/code", data={"token": token, "code": CODE}).status_code == 303
    return client


@pytest.mark.parametrize("key", QUESTIONS)
def test_each_question_is_a_page_with_its_heading_and_live_readings(key: str, phone, tmp_path: Path) -> None:
    shared_folder.write_state(tmp_path, {
        "number": 3, "key": key, "words": "words", "choices": [("1", "in1: 12.620 V")] if key.endswith(("_v", "_a", "_c")) else [],
        "default": "", "optional": True, "trouble": "", "busy": False, "said": ["Something was measured."],
        "live": [("house_voltage_v", "12.620 V")]})
    answer = phone.get("/")
    assert answer.status_code == 200 and QUESTIONS[key].heading in Text(answer.text).text
    assert key == "done" or "12.620 V" in answer.text
    assert phone.get("/state").json["number"] == 3


def test_the_end_of_set_up_and_a_page_that_is_not_there_are_pages_too(phone) -> None:
    assert "Set-up has ended." in phone.get("/").text
    assert phone.get("/tonight").status_code == 404
