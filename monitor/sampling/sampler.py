"""Asks every instrument in turn on each beat; a silent or absurd one becomes a named gap and stops nothing else."""
import logging
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol

from drivers.errors import CannotOpen, ReadFailed
from drivers.reading import Reading
from monitor.replacing import replace
from monitor.sampling import judge
from monitor.sampling.asking import Asker, Question, alone
from monitor.store.time_labels import Gap

if TYPE_CHECKING:
    from monitor.findings import Condition

log = logging.getLogger("ampledger.sampler")

#: Pauses before an instrument is opened again [s]; the last one repeats.
REOPEN_S = (1.0, 2.0, 5.0, 15.0, 60.0)
#: So many lost readings in a row, and the instrument is closed and opened anew.
LOST_IN_A_ROW = 5
#: A gap ends when the quantity has been measured again for so long: a loose plug is one gap, not a thousand.
BACK_FOR_S = 60.0
#: Two instruments that disagree for so long are reported.
DISAGREE_S = 120.0
#: A reading that takes longer than so many beats holds up no beat: it goes on in a thread of its own.
PATIENCE_BEATS = 0.5
#: An instrument hangs when its answer is so much later than its own time limit [s].
HANGS_AFTER_S = 2.0
#: Sources that bring their own time answer from memory or a file and need no thread.
AT_ONCE = ("simulated", "recorded")
#: Between questions to a slow instrument its latest values stand for at most so long.
STANDS_S = 10.0


class Openable(Protocol):
    """An instrument of the configuration: its driver's name, and open()."""

    @property
    def driver(self) -> str: ...

    def open(self) -> Any: ...


@dataclass(slots=True)
class _Instrument:
    name: str
    source: Openable
    driver: Any = None
    opens: int = 0
    lost: int = 0
    retry_s: float = float("-inf")
    took_s: float = 0.0
    asked_s: float = float("-inf")
    latest: Reading | None = None
    latest_s: float = float("-inf")
    question: Question | None = None  # on its way, or None
    slow: bool = False
    trouble: str = ""
    troubled_s: float = float("-inf")
    gives: set[str] = field(default_factory=set)


@dataclass(slots=True)
class _Silence:
    reason: str
    from_s: float
    last_s: float
    back_s: float | None = None
    count: int = 0


class Sampler:
    """Holds the instruments open. One thread only."""

    def __init__(self, sources: Iterable[Openable], beat_s: float = 1.0, gaps: Iterable[Gap] = (),
                 hangs_after_s: float = HANGS_AFTER_S) -> None:
        names: dict[str, int] = {}
        self._instruments: list[_Instrument] = []
        for source in sources:
            names[source.driver] = names.get(source.driver, 0) + 1
            number = f" ({names[source.driver]})" if names[source.driver] > 1 else ""
            measures = getattr(getattr(source, "options", None), "measures", ())
            self._instruments.append(_Instrument(
                source.driver + number, source, gives={measures} if isinstance(measures, str) else set(measures)))
        self._beat_s, self._hangs_after_s, self._asker = beat_s, hangs_after_s, Asker()
        self.go_on(gaps)
        self._still: dict[str, judge.Still] = {}
        self._differ_since_s: dict[str, tuple[float, str]] = {}
        self._changed: list[Gap] = []
        self.sources: dict[str, Openable] = {}  # quantity -> the instrument whose value was last believed

    def go_on(self, gaps: Iterable[Gap]) -> None:
        """Takes over the silences that were open where the log ended."""
        self._silences = {g.quantity: _Silence(g.reason, g.from_s, g.from_s, None, g.count) for g in gaps}

    def leave_out(self, quantities: Iterable[str]) -> None:
        """Nobody expects these of any instrument, so that their absence is no gap."""
        for instrument in self._instruments:
            instrument.gives -= set(quantities)

    def read(self, now_s: float) -> tuple[list[tuple[_Instrument, Reading]], float | None, bool]:
        """Every instrument's answer; now_s is any clock that does not go back."""
        due = [(i, Question(partial(_attempt, i.source, i.driver))) for i in self._instruments if self._due(i, now_s)]
        for instrument, question in due:
            instrument.question, instrument.asked_s = question, now_s
        for instrument, question in due:
            if instrument.slow:
                alone(question)
            elif instrument.source.driver in AT_ONCE:
                question.put()
        # the quick ones first, so that a slow one delays nobody's reading but its own
        self._asker.put([question for i, question in sorted(due, key=lambda pair: pair[0].took_s)
                         if not i.slow and i.source.driver not in AT_ONCE], max(PATIENCE_BEATS * self._beat_s, 0.05))
        answers = [(i, reading) for i in self._instruments if (reading := self._collect(i, now_s)) is not None]
        own_time_s = next((reading.at_s for _, reading in answers if reading.at_s is not None), None)
        return answers, own_time_s, any(reading.simulated for _, reading in answers)

    @property
    def first(self) -> Any:
        """The first instrument of the configuration."""
        return self._instruments[0]

    def judge(self, answers: list[tuple[_Instrument, Reading]], at_s: float) -> dict[str, float]:
        """The values that are believed: for each quantity those of the first instrument, in the order of the
        configuration, that gave a possible one. Never a mean of two; only two solar chargers are added up."""
        values: dict[str, float] = {}
        reasons: dict[str, str] = {}
        seconds: dict[str, tuple[float, str]] = {}
        for instrument, reading in answers:
            self._take(instrument, reading, values, reasons, seconds)
        self._drop_frozen(values, reasons, at_s)
        self._compare(values, seconds, at_s)
        known = self._name_missing(values, reasons, at_s)
        for quantity in list(self._silences):
            if quantity in values or quantity not in known:
                self._present(quantity, at_s)
        return judge.add_solar(values, known)

    def _take(self, instrument: _Instrument, reading: Reading, values: dict[str, float], reasons: dict[str, str],
              seconds: dict[str, tuple[float, str]]) -> None:
        """One reading into values, or why not into reasons; seconds: what a second instrument says of the same."""
        for fault in reading.faults:
            instrument.gives.add(fault.quantity)
            reasons.setdefault(fault.quantity, f"{instrument.name}: {fault.reason}")
        for quantity, value in reading.values.items():
            instrument.gives.add(quantity)
            why = judge.refuse_reading(quantity, value)
            if why:
                reasons.setdefault(quantity, f"{instrument.name}: {why}")
            elif quantity not in values:
                values[quantity], self.sources[quantity] = float(value), instrument.source
            else:
                seconds.setdefault(quantity, (value, instrument.name))

    def _drop_frozen(self, values: dict[str, float], reasons: dict[str, str], at_s: float) -> None:
        """Takes out what has stood still while its companion moved."""
        for quantity, (companion, _, _) in judge.FROZEN.items():
            if quantity in values:
                self._still[quantity] = judge.watch_channel(self._still.get(quantity), values[quantity], values.get(companion), at_s)
        for quantity in judge.FROZEN:
            if quantity in values and (why := judge.find_frozen(self._still[quantity], quantity, at_s)):
                del values[quantity]
                reasons[quantity] = why

    def _name_missing(self, values: dict[str, float], reasons: dict[str, str], at_s: float) -> set[str]:
        """Notes what is not measured and why; returns all that some instrument gives, or should."""
        for instrument in self._instruments:
            for quantity in instrument.gives or {""}:
                if instrument.trouble and quantity not in values:
                    reasons.setdefault(quantity or instrument.name, f"{instrument.name}: {instrument.trouble}")
        known = set().union(*(i.gives for i in self._instruments)) | {i.name for i in self._instruments if not i.gives and i.trouble}
        for quantity in known - values.keys():
            self._missing(quantity, reasons.get(quantity, "no instrument gives it any more"), at_s)
        return known

    def gaps(self) -> tuple[Gap, ...]:
        """Gaps that opened or closed since last asked."""
        changed, self._changed = tuple(self._changed), []
        return changed

    def open_gaps(self) -> tuple[Gap, ...]:
        """Gaps that last."""
        return tuple(Gap(q, s.reason, s.from_s, None, s.count) for q, s in self._silences.items())

    def conditions(self, at_s: float) -> "tuple[Condition, ...]":
        """What deserves an alert: one for all that is lost of one battery, one for instruments that disagree."""
        differ = {q: words for q, (since_s, words) in self._differ_since_s.items() if at_s - since_s >= DISAGREE_S}
        from monitor.sampling.sensor_alerts import conditions  # not needed for the first reading

        return conditions({q: (s.reason, at_s - s.from_s) for q, s in self._silences.items() if s.back_s is None}, differ)

    def close(self) -> None:
        """Closes every instrument that does not hang."""
        self._asker.close()
        for instrument in self._instruments:
            if instrument.question is None:
                self._shut(instrument)

    def _due(self, instrument: _Instrument, now_s: float) -> bool:
        """Whether it is to be asked now: it is there, its last answer came, and a slow one has had a rest."""
        if instrument.question is not None or (instrument.driver is None and now_s < instrument.retry_s):
            return False
        return not (instrument.slow and now_s - instrument.asked_s < 2 * instrument.took_s - 1e-9)

    def _collect(self, instrument: _Instrument, now_s: float) -> Reading | None:
        """Its reading of this beat, or its latest where that may still stand."""
        question = instrument.question
        if question is not None and question.done:
            instrument.question, instrument.took_s = None, question.took_s
            instrument.slow = question.took_s > PATIENCE_BEATS * self._beat_s
            late = question.took_s > self._limit_s(instrument)
            return self._take_answer(instrument, question, late, now_s)
        if question is not None:
            instrument.slow = True
            if question.waited_s > self._limit_s(instrument):
                self._hangs(instrument, question.waited_s, now_s)
        if instrument.driver is None and question is None:
            return None
        return instrument.latest if now_s - instrument.latest_s <= STANDS_S else None

    def _limit_s(self, instrument: _Instrument) -> float:
        return getattr(getattr(instrument.source, "options", None), "timeout_s", 0.5) + self._hangs_after_s

    def _hangs(self, instrument: _Instrument, waited_s: float, now_s: float) -> None:
        if not instrument.trouble:
            log.warning("%s hangs: no answer for %.1f s; the others go on without it", instrument.name, waited_s)
        instrument.trouble, instrument.latest, instrument.troubled_s = "it hangs and does not answer", None, now_s

    def _take_answer(self, instrument: _Instrument, question: Question, late: bool, now_s: float) -> Reading | None:
        """What an answered question gives."""
        if question.error is not None and (
                not isinstance(question.error, Exception) or isinstance(question.error, MemoryError)):
            raise question.error  # not the instrument's fault: the beat breaks
        if question.error is not None:
            self._not_opened(instrument, question.error, now_s)
            return None
        answer: tuple[Any, Reading | Exception] = question.answer
        instrument.driver, reading = answer
        if late:  # what it says now was true some time ago
            self._note_loss(instrument, f"it answered only after {question.took_s:.1f} s", now_s, shut=True)
            return None
        if isinstance(reading, Exception):
            # a driver's own mistake must not end the others; DriverUnavailable while running belongs here too
            self._note_loss(instrument, str(reading) if isinstance(reading, ReadFailed) else f"{type(reading).__name__}: {reading}", now_s)
            return None
        if instrument.lost >= LOST_IN_A_ROW:
            log.info("%s answers again after %d lost readings", instrument.name, instrument.lost)
        instrument.trouble, instrument.lost, instrument.opens, instrument.latest_s = "", 0, 0, now_s
        instrument.latest = replace(reading, fast_starter=()) if reading.fast_starter else reading  # a start is told once
        return reading

    def _not_opened(self, instrument: _Instrument, error: Exception, now_s: float) -> None:
        expected = isinstance(error, CannotOpen | OSError)
        trouble = str(error) if expected else f"{type(error).__name__}: {error}"
        if not expected:
            log.error("%s: opening broke", instrument.name, exc_info=error)
        if not instrument.trouble:
            log.warning("%s cannot be opened: %s", instrument.name, trouble)
        instrument.trouble = trouble
        instrument.retry_s = now_s + REOPEN_S[min(instrument.opens, len(REOPEN_S) - 1)]
        instrument.opens += 1

    def _note_loss(self, instrument: _Instrument, why: str, now_s: float, shut: bool = False) -> None:
        if not instrument.trouble and now_s - instrument.troubled_s > BACK_FOR_S:
            log.warning("%s gives no reading: %s", instrument.name, why)
        instrument.trouble, instrument.latest, instrument.troubled_s = why, None, now_s
        instrument.lost += 1
        if shut or instrument.lost % LOST_IN_A_ROW == 0:
            self._shut(instrument)
            instrument.retry_s = now_s + REOPEN_S[min(instrument.opens, len(REOPEN_S) - 1)]
            instrument.opens += 1

    def _shut(self, instrument: _Instrument) -> None:
        if instrument.driver is not None:
            try:
                instrument.driver.close()
            except Exception as error:
                log.warning("%s: closing failed: %s", instrument.name, error)
            instrument.driver = None

    def _missing(self, quantity: str, reason: str, at_s: float) -> None:
        silence = self._silences.get(quantity)
        if silence is None:
            silence = self._silences[quantity] = _Silence(reason, at_s, at_s)
            self._changed.append(Gap(quantity, reason, at_s, None, 1))
        silence.back_s, silence.last_s = None, at_s
        silence.count += 1

    def _present(self, quantity: str, at_s: float) -> None:
        silence = self._silences[quantity]
        if silence.back_s is None:
            silence.back_s = at_s
        if at_s - silence.back_s >= BACK_FOR_S:
            del self._silences[quantity]
            self._changed.append(Gap(quantity, silence.reason, silence.from_s, silence.back_s, silence.count))

    def _compare(self, values: dict[str, float], seconds: dict[str, tuple[float, str]], at_s: float) -> None:
        for quantity, (second, name) in seconds.items():
            if quantity in values and judge.find_disagreement(quantity, values[quantity], second):
                since_s = self._differ_since_s.get(quantity, (at_s, ""))[0]
                self._differ_since_s[quantity] = since_s, f"{values[quantity]:g} and, by {name}, {second:g}"
            else:
                self._differ_since_s.pop(quantity, None)
        for quantity in self._differ_since_s.keys() - seconds.keys():
            del self._differ_since_s[quantity]


def _attempt(source: Openable, driver: Any) -> tuple[Any, Reading | Exception]:
    """Opens an instrument where it is not open, and reads it: (opened, its reading or why there is none). In a thread."""
    opened = driver if driver is not None else source.open()
    try:
        return opened, opened.read()
    except MemoryError:
        raise
    except Exception as error:
        return opened, error
