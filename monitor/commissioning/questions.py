"""How a question is put: to a person at a terminal, or to a file of answers. Nothing here knows what is asked."""
import difflib
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol, TypeVar

import click

from monitor.cli import Refused
from monitor.commissioning.steps import MeansThat, NotClear

T = TypeVar("T")


class Prompter(Protocol):
    """Puts questions, each under a key of its own."""

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        """The answer, parsed. parse raises NotClear with one sentence where it will not do; default None: must be given."""

    def again(self, key: str, why: NotClear) -> None:
        """Says why an answer led nowhere, before the same question is put again."""

    def say(self, text: str) -> None:
        """Tells something."""


class Terminal:
    """A person. A bad answer gets one sentence, and the question is put again."""

    def __init__(self) -> None:
        self.answers = 0

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
        while True:
            shown = f" [{default}]" if default else ""
            text = click.prompt(f"\n{words}{shown}", default="", show_default=False, prompt_suffix="\n> ")
            self.answers += 1
            try:
                return parse(text.strip() or default or "")
            except MeansThat as why:
                click.echo(f"  {str(why)[:1].upper()}{str(why)[1:]}? Enter for yes: {why.instead}; or type it anew.")
                default = why.instead
            except NotClear as why:
                self.again(key, why)

    def again(self, key: str, why: NotClear) -> None:
        click.echo(f"  Not understood: {why}.")

    def say(self, text: str) -> None:
        click.echo(text)


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

    def ask(self, key: str, words: str, parse: Callable[[str], T], default: str | None = None) -> T:
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

    def again(self, key: str, why: NotClear) -> None:
        raise Refused(f"{self._path}, {key} = {self._given.get(key)!r}: {why}") from None

    def say(self, text: str) -> None:
        click.echo(text)
