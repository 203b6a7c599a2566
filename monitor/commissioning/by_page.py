"""Puts the same questions to a page instead of a terminal: live readings beside each, answers from a shared folder."""
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from drivers.errors import DriverError
from monitor.commissioning import shared_folder
from monitor.commissioning.measuring import gives
from monitor.commissioning.steps import MeansThat, NotClear
from monitor.reporting.sentences import capitalise

T = TypeVar("T")
#: How often readings are shown anew and answers looked for [s].
SHOW_S, LOOK_S = 1.0, 0.2
#: Instruments that may be read again and again without disturbing anybody.
QUIET_DRIVERS = ("hwmon", "iio", "modbus", "sunspec")
CHOICE = re.compile(r"^ {2}(\d+) {2}(.+)$")
RESTART = "start over"


class StartOver(Exception):
    """Somebody wants to begin with the first question again."""


class LeftAlone(Exception):
    """Nobody has answered for a long time."""


class PagePrompter:
    """Asks by way of the pages. folder : shared with them; patience_s : so long a question waits for its answer."""

    def __init__(self, folder: Path, patience_s: float = 3600.0) -> None:
        self._folder, self._patience_s = folder, patience_s
        self._number, self._said = 0, list[str]()
        self._live: Callable[[], list[tuple[str, str]]] = list
        (folder / shared_folder.ANSWERS).mkdir(exist_ok=True)

    def set_live(self, read: Callable[[], list[tuple[str, str]]]) -> None:
        """From now on these readings stand beside each question: (what, shown)."""
        self._live = read

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer that a phone gives, parsed.

        key: the answer's place in the configuration; words: the question; parse: makes a value of an answer, raises NotClear;
        default: taken for an empty answer, None: must be given.
        """
        trouble, offered = "", default
        while True:
            text = self._wait(key, words, offered, trouble, default is not None)
            self._show(key, words, offered, "", busy=True)
            try:
                return parse(text.strip() or default or "")
            except MeansThat as why:
                trouble, offered = f"{capitalise(str(why))}?", why.instead
            except NotClear as why:
                trouble = f"{why}."

    def again(self, key: str, why: NotClear) -> None:  # noqa: ARG002 - one signature for all who ask
        self._said.append(f"Not understood: {why}.")

    def say(self, text: str) -> None:
        self._said.append(text.strip())

    def finish(self, **state: Any) -> None:
        """The last word: what came of it."""
        self._number += 1
        shared_folder.write_state(self._folder, {"number": self._number, "key": "done", "said": self._said[-8:], **state})

    def _wait(self, key: str, words: str, offered: str | None, trouble: str, optional: bool) -> str:
        self._number += 1
        begun_s, shown_s = time.monotonic(), -1e9
        while time.monotonic() - begun_s < self._patience_s:
            if time.monotonic() - shown_s >= SHOW_S:
                self._show(key, words, offered, trouble, optional=optional)
                shown_s = time.monotonic()
            text = shared_folder.take_answer(self._folder, self._number)
            if text == RESTART:
                self._said.clear()
                raise StartOver
            if text is not None:
                self._said.clear()
                return text
            time.sleep(LOOK_S)
        raise LeftAlone

    def _show(self, key: str, words: str, offered: str | None, trouble: str, *, busy: bool = False, optional: bool = False) -> None:
        lines = words.splitlines()
        choices = [found.groups() for line in lines if (found := CHOICE.match(line))]
        shared_folder.write_state(self._folder, {
            "number": self._number, "key": key, "words": "\n".join(line for line in lines if not CHOICE.match(line)).strip(),
            "choices": choices, "default": offered or "", "optional": optional, "trouble": trouble, "busy": busy,
            "said": self._said[-24:], "live": [] if busy else self._readings()})

    def _readings(self) -> list[tuple[str, str]]:
        try:
            return self._live()
        except (DriverError, NotClear, OSError, ValueError) as error:
            return [("reading", str(error).splitlines()[0][:160])]


def read_draft(draft: Any) -> list[tuple[str, str]]:
    """What the instruments of a draft configuration show now, as (quantity, value and unit)."""
    from monitor.config import load

    units = {"v": "V", "a": "A", "c": "°C"}
    rows = []
    for source in load.validate(draft.doc.unwrap(), draft.path).sources:
        if source.driver not in QUIET_DRIVERS:
            rows += [(quantity, "read when it is measured") for quantity in sorted(gives(source.options))]
            continue
        driver = source.open()
        try:
            values = driver.read().values
        finally:
            driver.close()
        rows += [(quantity, f"{value:.3f} {units.get(quantity.rpartition('_')[2], '')}".strip()) for quantity, value in values.items()]
    return rows
