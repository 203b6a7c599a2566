"""Questions put to instruments in threads beside the beat: one that hangs costs its own reading and no other."""
import threading
import time
from collections.abc import Callable, Sequence
from queue import Empty, Queue, SimpleQueue
from typing import Any


class Question:
    """Something to be called that may take long, and what came of it. done is set last."""

    __slots__ = ("ask", "begun_s", "took_s", "done", "answer", "error")

    def __init__(self, ask: Callable[[], Any]) -> None:
        self.ask, self.begun_s, self.took_s, self.done = ask, time.monotonic(), 0.0, False
        self.answer: Any = None
        self.error: BaseException | None = None

    def put(self) -> None:
        """Asks, in the thread that calls."""
        self.begun_s = time.monotonic()
        try:
            self.answer = self.ask()
        except BaseException as error:  # it is told to whoever asked
            self.error = error
        self.took_s = time.monotonic() - self.begun_s
        self.done = True

    @property
    def waited_s(self) -> float:
        """How long it has been on its way [s]."""
        return time.monotonic() - self.begun_s


class _Round:
    """Questions that one thread puts in turn, until it is told to stop after the present one."""

    def __init__(self, questions: Sequence[Question]) -> None:
        self.questions, self.at, self.left, self.lock = questions, 0, False, threading.Lock()

    def work(self) -> bool:
        """Puts them; returns whether it came to the end."""
        for number, question in enumerate(self.questions):
            with self.lock:
                if self.left:
                    return False
                self.at = number
            question.put()
        with self.lock:
            self.at = len(self.questions)
            return not self.left

    def leave(self, patience_s: float) -> int | None:
        """The place of a question that takes longer than patience_s, left to its thread; None where none does."""
        with self.lock:
            if self.at >= len(self.questions) or self.questions[self.at].waited_s < patience_s:
                return None
            self.left = True
            return self.at


class Asker:
    """One thread that puts questions in turn; it is replaced by another when a question does not come back.

    A switch to the thread and back costs some 0.1 ms a round, however many questions there are.
    """

    def __init__(self) -> None:
        self._inbox: SimpleQueue[_Round | None] | None = None
        self._outbox: Queue[None] = Queue()     # a SimpleQueue may forget a time limit that passes at its second look

    def put(self, questions: Sequence[Question], patience_s: float) -> None:
        """Puts all questions. One that takes longer than patience_s is left behind, not done, in a thread of its own
        that ends with it; the others follow at once."""
        while questions:
            inbox = self._begin() if self._inbox is None else self._inbox
            current = _Round(questions)
            inbox.put(current)
            while True:
                try:
                    self._outbox.get(timeout=patience_s)
                    return
                except Empty:
                    place = current.leave(patience_s)
                if place is not None:
                    self._inbox, self._outbox = None, Queue()
                    questions = questions[place + 1:]
                    break

    def close(self) -> None:
        """Ends the thread where it waits."""
        if self._inbox is not None:
            self._inbox.put(None)
            self._inbox = None

    def _begin(self) -> "SimpleQueue[_Round | None]":
        inbox: SimpleQueue[_Round | None] = SimpleQueue()
        self._inbox = inbox
        threading.Thread(target=_work, args=(inbox, self._outbox), name="instruments", daemon=True).start()
        return inbox


def alone(question: Question) -> None:
    """Puts one question in a thread of its own; returns at once."""
    question.begun_s = time.monotonic()
    threading.Thread(target=question.put, name="a slow instrument", daemon=True).start()


def _work(inbox: "SimpleQueue[_Round | None]", outbox: "Queue[None]") -> None:
    while (current := inbox.get()) is not None and current.work():
        outbox.put(None)
