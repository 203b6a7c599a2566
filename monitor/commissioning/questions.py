"""How a question is put: to a person at a terminal, or to a file of answers. Nothing here knows what is asked."""
import difflib
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol, TypeVar

import click

from monitor.cli import Refused
from monitor.commissioning.steps import MeansThat, NotClear
from monitor.reporting.sentences import capitalise

T = TypeVar("T")


class Prompter(Protocol):
    """Puts questions, each under a key of its own."""

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer, parsed. parse raises NotClear with one sentence where it will not do; default None: must be given.

        key: the answer's place in the configuration; words: the question; parse: makes a value of an answer; default: taken for an
        empty answer.
        """

    def again(self, key: str, why: NotClear) -> None:
        """Says why an answer led nowhere, before the same question is put again."""

    def say(self, text: str) -> None:
        """Tells something."""


class Terminal:
    """A person. A bad answer gets one sentence, and the question is put again."""

    def __init__(self) -> None:
        self.answers = 0

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer typed at the terminal, parsed.

        key: the answer's place in the configuration; words: the question; parse: makes a value of an answer, raises NotClear;
        default: taken for an empty answer, None: must be given.
        """
        while True:
            shown = f" [{default}]" if default else ""
            text = click.prompt(f"\n{words}{shown}", default="", show_default=False, prompt_suffix="\n> ")
            self.answers += 1
            try:
                return parse(text.strip() or default or "")
            except MeansThat as why:
                click.echo(f"  {capitalise(str(why))}? Enter for yes: {why.instead}; or type it anew.")
                default = why.instead
            except NotClear as why:
                self.again(key, why)

    def again(self, key: str, why: NotClear) -> None:  # noqa: ARG002 - one signature for all who ask
        click.echo(f"  Not understood: {why}.")

    def say(self, text: str) -> None:
        click.echo(text)


class Recorded:
    """Any of the others, remembering what was answered: the same answers can be given again from a file.

    earlier : answers of an earlier walk, offered again for labels and channels, never for what was measured
    """

    def __init__(self, asker: Prompter, earlier: dict[str, Any], offered: tuple[str, ...]) -> None:
        self._asker, self._earlier, self._offered = asker, earlier, offered
        self.given: dict[str, str | bool] = {}

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer of whoever is asked, kept and offered again the next time.

        key: the answer's place in the configuration; words: the question; parse: makes a value of an answer, raises NotClear;
        default: taken for an empty answer, None: must be given.
        """
        def remember(text: str) -> T:
            found = parse(text)
            plain: str | bool = {"": True, "skip": False}.get(text, text)
            said: str | bool | None = getattr(found, "words", None)
            self.given[key] = said or plain
            return found

        if key in self._offered and isinstance(self._earlier.get(key), str):
            default = self._earlier[key]
        return self._asker.ask(key, words, remember, default)

    def has_answer(self, key: str) -> bool:
        """Whether an answer is there already: such a question is put even where it could be spared."""
        if key in self._offered and isinstance(self._earlier.get(key), str):
            return True
        return bool(getattr(self._asker, "has_answer", lambda _: False)(key))

    def again(self, key: str, why: NotClear) -> None:  # noqa: ARG002 - one signature for all who ask
        self._asker.again(key, why)

    def say(self, text: str) -> None:
        self._asker.say(text)

    def set_live(self, read: Callable[[], list[tuple[str, str]]]) -> None:
        """Passed on where readings are shown beside the questions."""
        getattr(self._asker, "set_live", lambda _: None)(read)


def read_answers(path: Path) -> dict[str, Any]:
    """The answers in a file, nothing where it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return {}


class AnswersFile:
    """A TOML file with an answer under each key. What is not in it is left out, if it may be."""

    def __init__(self, path: Path, known: tuple[str, ...]) -> None:
        try:
            self._given = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, UnicodeDecodeError) as error:
            raise Refused(f"{path} cannot be read: {getattr(error, 'strerror', None) or error}") from None
        except tomllib.TOMLDecodeError as error:
            raise Refused(f"{path} is not TOML: {error}") from None
        self._path = path
        for key in self._given:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1, 0.6)
                raise Refused(f"{path}, {key}: there is no such question; "
                                           + (f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"))

    def has_answer(self, key: str) -> bool:
        """Whether the file answers it."""
        return key in self._given

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer that the file gives, parsed.

        key: the answer's place in the configuration; words: the question; parse: makes a value of an answer, raises NotClear;
        default: taken for an empty answer, None: must be given.
        """
        given: Any = self._given.get(key)
        if given is None or given is False:
            # nobody stands beside the vehicle: what needs a hand is left out
            given = "skip" if default == "" else default
        if given is None:
            raise Refused(f"{self._path}: {key} is missing. It answers: {words.splitlines()[0]}")
        try:
            return parse("" if given is True else str(given).strip())
        except MeansThat as why:
            raise Refused(f'{self._path}, {key} = {given!r}: {why}? Then write "{why.instead}"') from None
        except NotClear as why:
            self.again(key, why)
            raise

    def again(self, key: str, why: NotClear) -> None:  # noqa: ARG002 - one signature for all who ask
        raise Refused(f"{self._path}, {key} = {self._given.get(key)!r}: {why}") from None

    def say(self, text: str) -> None:
        click.echo(text)
