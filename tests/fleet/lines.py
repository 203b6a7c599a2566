"""Ways to the collector for tests: straight into it, and through a connection that breaks as it likes."""
from collections.abc import Callable
from random import Random
from typing import Any

from sqlalchemy import Engine

from monitor.fleet import by_hand
from monitor.fleet.keys import hash_of
from monitor.fleet.publishing import NoConnection
from tests.store_fixture import BEGINS_UTC_S

#: a moment after all that the fixture's log holds
NOW_UTC_S = BEGINS_UTC_S + 40 * 86400


class Straight(by_hand.Straight):
    """No network: the collector's own answers, and what it took."""

    def __init__(self, engine: Engine, key: str, board: str = "board-a", now_utc_s: float = NOW_UTC_S) -> None:
        super().__init__(engine, hash_of(key), board, now_utc_s)
        self.taken: list[bytes] = []

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        status, answer = super().ask(place, data)
        if status == 200 and data is not None:
            self.taken.append(data)
        return status, answer


class Flaky:
    """A connection that loses requests, loses answers, sends twice, and brings old batches again, by chance."""

    def __init__(self, line: Straight, chance: Random, trouble: float = 0.75) -> None:
        self._line, self._chance, self._trouble = line, chance, trouble

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        kind = self._chance.choice(("lost", "answer lost", "twice", "old one again")) if self._chance.random() < self._trouble else ""
        if kind == "lost":
            raise NoConnection("lost on the way there")
        if kind == "old one again" and self._line.taken:
            self._line.ask("/fleet/v1/batches", self._chance.choice(self._line.taken))
        answer = self._line.ask(place, data)
        if kind == "twice" and data is not None:
            again = self._line.ask(place, data)
            assert again[0] == 200 or answer[0] != 200
        if kind == "answer lost":
            raise NoConnection("lost on the way back")
        return answer


def publish_until_done(publish: Callable[[], Any], most: int = 400) -> int:
    """Tries again as often as the connection breaks; returns how often."""
    for tries in range(most):
        try:
            publish()
            return tries
        except NoConnection:
            continue
    raise AssertionError("never came through")
