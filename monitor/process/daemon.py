"""Builds the parts, keeps the beat, hands each minute on, and ends cleanly."""
import logging
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import fields, is_dataclass, replace
from math import hypot
from pathlib import Path
from typing import Any

from drivers.reading import Reading
from monitor import dependence
from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.clocks.clock import Clock
from monitor.config import instruments
from monitor.findings import Condition, Event
from monitor.guides.wiring_plan import Wiring
from monitor.logbook import entries, live, resume
from monitor.logbook.rows import logged_minute
from monitor.process import dark, load_names, owner_requests, shunt_calibration
from monitor.process.capacity_watch import CapacityWatch
from monitor.process.channels import Channels
from monitor.process.dating import Dating
from monitor.process.owner_requests import apply_zero
from monitor.process.relearning import Relearner, Relearning
from monitor.process.requests_kept import Kept, Moment
from monitor.sample import Minute, Sample
from monitor.sampling import gather
from monitor.sampling.first_reading import FirstReading
from monitor.sampling.sampler import Openable, Sampler
from monitor.store import requests, saving
from monitor.store.batch import Batch, LoggedMinute, TimeLabel
from monitor.store.self_watch import SelfWatch
from monitor.store.state import State
from monitor.store.time_labels import Heard, Testimony
from monitor.store.writer import Writer

log = logging.getLogger("ampledger")

#: A tracker that fails so often in a row is begun afresh with the others.
FAILURES = 3
#: After a boot without a trusted clock the first readings wait for one so long, unwritten and unjudged.
WAIT_FOR_TIME_S = 50.0
#: Readings kept in memory while the log's end cannot be read, to be lived through again when it can [s].
UNPLACED_S = 2 * 3600.0


class OtherLog(Exception):
    """The log at that place is of another kind than what would be written into it."""


#: What holds where the configuration says nothing of the wiring.
USUAL_WIRING = Wiring()


class Daemon:
    """One vehicle's monitor. Handed everything it needs; one thread calls beat().

    begin(vehicle) -> what the trackers hold; step(held, minute, vehicle) -> (held, findings).
    offer(alert_change) is told of every change of an alert and returns at once; conditions() are those of the
    deliveries and other parts beside the trackers.
    begins_utc_s is the UTC of second 0 of sources that bring their own time (a simulation, a recording).
    wiring is kept in the log for the page that draws it.
    """

    def __init__(self, database: Path, vehicle: Vehicle, sources: Iterable[Openable], *, clock: Clock,
                 begin: Callable[[Vehicle], Any], step: Callable[[Any, Minute, Vehicle], tuple[Any, Any]],
                 offer: Callable[[rules.AlertChange], None] = lambda _: None,
                 conditions: Callable[[], tuple[Condition, ...]] = lambda: (), beat_s: float = 1.0, commit_s: float = 60.0,
                 simulated: bool = False, begins_utc_s: float | None = None,
                 writer: Callable[..., Writer] = Writer, first: FirstReading | None = None, copies: bool = False,
                 wiring: Wiring = USUAL_WIRING, unknown_dividers: frozenset[str] = frozenset(),
                 relearning: Callable[..., Relearning] | None = None) -> None:
        self.database, self.vehicle, self.clock = database, vehicle, clock
        self._sources, self._begin, self._step, self._offer = tuple(sources), begin, step, offer
        self._channels = Channels(self._sources, unknown_dividers, database)
        self._conditions, self._listens = conditions, True
        self._beat_s, self._commit_s, self.simulated, self._begins_utc_s = beat_s, commit_s, simulated, begins_utc_s
        self._make_writer, self._first, self._wiring = writer, first, wiring
        self._requests = requests.Doors(database)
        self._failures, self._broken, self._copies, self.findings = 0, "", copies, None
        self._unplaced: deque[tuple[float, list]] = deque(maxlen=round(UNPLACED_S / beat_s))
        self._live_file = live.LiveFile(database)
        self._configured, self._told_sources = vehicle.current_sensor, dict[str, Openable]()
        self._relearner = Relearner(relearning)
        self._resume()

    def _resume(self) -> None:
        """Goes on where the log ended."""
        fresh = State(self._begin(self.vehicle), rules.begin(), gather.Gathering())
        found = resume.read(self.database, fresh)
        told: list[tuple[str, str]] = []
        damage = ""
        if found.trouble == "damaged":
            found, damage = self._rescue(fresh, found)
        if found.simulated is not None and found.simulated != self.simulated:
            kinds = ("a simulated vehicle", "a real one")
            raise OtherLog(f"{self.database} is the log of {kinds[0] if found.simulated else kinds[1]}, and this run is of "
                           f"{kinds[1] if found.simulated else kinds[0]}; name another database under [log]")
        self.state, self._last = found.state, found.last
        self._dating = Dating(self.clock, self._begins_utc_s, self._beat_s)
        self._heard = self._last.heard if self._last else None
        first, self._first = self._first, None
        # readings of a log that could not be read before are lived through again, now that its end is known
        self._early: list[tuple[float, list]] = [(first.boot_s, first.answers)] if first else list(self._unplaced)
        self._unplaced.clear()
        self._unread = found.why if found.trouble not in ("", "damaged") else ""
        if self._unread:
            log.error("the log cannot be read: %s; going on from memory alone until it can", self._unread)
        if found.lost:
            told.append(("begun_afresh", "What was learnt could not be read: " + ", ".join(found.lost) + ". "
                         + ("It is learnt again from the log." if self._relearner.able else "It begins afresh.")))
        if found.older:
            told.append(("state_damaged", "The latest saved state was damaged; the one before it was taken, and the minutes "
                         "between count as a gap."))
        self._dark = dark.CUT if found.cut else dark.STOPPED
        self._told = told
        self.self_watch = SelfWatch(found.self_watch, lambda text: self.writer.remember("self_watch", text))
        self.capacity_watch = CapacityWatch(found.capacity_test, lambda text: self.writer.remember("capacity_test", text))
        self.sampler = first.sampler if first else Sampler(self._sources, self._beat_s)
        self.sampler.go_on(found.gaps)
        self._channels.go_on(found.corrections)
        self.sampler.leave_out(self._channels.unknown_quantities())
        sensor, measured_anew = shunt_calibration.select_calibration(self._configured, found.calibration, found.shunt_configured)
        self.vehicle = self._channels.apply_to(replace(self.vehicle, current_sensor=sensor, named_loads=load_names.read(found.load_names)))
        self.lives, self.entries = entries.read_batteries(found.batteries), entries.read(found.entries)
        meta = {"simulated": str(int(self.simulated)), "vehicle": saving.to_text(self.vehicle),
                "shunt_configured": saving.to_text(self._configured), "wiring": saving.to_text(self._wiring)}
        if measured_anew:
            meta["calibration"] = meta["shunt_configured"]
            self.state, self._told = apply_zero(self.state, sensor), [*told, ("calibrated", "The shunt's correction in the "
                                                                  "configuration is newer than the log's, and holds from now on.")]
        self.writer = self._make_writer(self.database, commit_s=self._commit_s, meta=meta, fresh=found.last is None)
        self.writer.start()
        if damage:
            self.writer.note_damage(damage)
        if found.last is not None and found.cut:
            self.self_watch.note_cut(found.last.at_s)
        if found.last is not None and found.tail_lost_s:
            self.self_watch.note_lost(found.last.at_s, found.tail_lost_s - found.last.at_s)
        if found.last is not None:
            self._begin_relearning({*found.relearning, *(name.removeprefix("watch.") for name in found.lost)})

    def _begin_relearning(self, wanted: set[str]) -> None:
        """Trackers whose memory could not be read live through the log again beside the beat, which goes on at once."""
        names = [f.name for f in fields(self.state.watch)] if is_dataclass(self.state.watch) else []
        self._relearner.begin(self.database, self.vehicle, tuple(n for n in names if {n, "everything"} & wanted), type(self.state.watch),
                              self.writer.remember)

    def _rescue(self, fresh: State, found: resume.Resumed) -> tuple[resume.Resumed, str]:
        """A damaged log is salvaged before anything is written into it; where that cannot be done now, memory carries on."""
        from monitor.store import salvage

        try:
            words = salvage.rescue(self.database, found.why)
        except Exception as error:  # no room, a read-only card: the writer tries again and again
            log.error("the damaged log cannot be salvaged now", exc_info=error)
            return resume.Resumed(fresh, trouble="unwritable", why=f"{found.why}; salvage: {error}"), ""
        return resume.read(self.database, fresh), words

    def beat(self) -> Any:
        """One reading of every instrument; returns findings where it closed a minute, else None."""
        boot_s = self.clock.boot_s()
        found = self._hear(boot_s, *self.sampler.read(boot_s))
        self._relearner.turn(self.state.watch, self._step, self._before_s() or 0.0, self.writer.remember, self._learnt)
        return found

    def _learnt(self, watch: Any, event: Event) -> None:
        self.state = replace(self.state, watch=watch)
        self.writer.offer(Batch(events=(event,), state=self.state))

    def past(self, readings: Iterable[Reading], commit_s: float = 43200.0) -> None:
        """Lives through readings that bring their own time as fast as they come, committing seldom."""
        self.writer.commit_every(commit_s, urgent=False)
        self._listens = False  # nobody can ask anything of the past
        for reading in readings:
            self._hear(self.clock.boot_s(), [(self.sampler.first, reading)], reading.at_s, reading.simulated)
        self._listens = True
        self.writer.flush(600)
        self.writer.commit_every(self._commit_s)

    def _hear(self, boot_s: float, answers: list, own_s: float | None, simulated: bool) -> Any:
        if simulated and not self.simulated:
            raise OtherLog("an instrument marks its readings as simulated, but the log is of a real vehicle")
        if own_s is None and self._begins_utc_s is not None:
            return None  # a recording that has ended, or a simulation that failed to read
        if self._unread and own_s is None:
            self._unplaced.append((boot_s, answers))
        if self._dating.line is not None:
            return self._take(boot_s if own_s is None else own_s, answers)
        self._early.append((boot_s, answers))
        if own_s is None and self._may_wait(boot_s):
            return None
        self._begin_line(own_s)
        early, self._early = self._early, []
        found = None
        for early_s, answers in early:
            found = self._take(early_s if own_s is None else own_s, answers) or found
        return found

    def _may_wait(self, boot_s: float) -> bool:
        """Whether the first readings of a boot may wait for a trusted time: it would tell how long the silence was."""
        if self._last is None or self._last.labels[-1].boot_id == self.clock.boot_id():
            return False
        return (self._last.labels[-1].utc_trusted and not self.clock.trust().trusted
                and boot_s - self._early[0][0] < WAIT_FOR_TIME_S)

    def _begin_line(self, own_s: float | None) -> None:
        labels, news = self._dating.begin(self._last, own_s, self._early[0][0])
        before_s = self._before_s()
        self._doubt_s = hypot(*(x.gap_doubt_s for x in self._dating.timeline().labels if before_s is not None and x.at_s > before_s), 0.0)
        at_s = max(self._dating.timeline().label.at_s, self._last.at_s if self._last else 0.0)
        events = (*(Event(at_s, kind, "vehicle", message) for kind, message in self._told), *news)
        self._told = []
        self.writer.offer(Batch(labels=labels, events=events))
        self._keep_heard()

    def _before_s(self) -> float | None:
        """The moment of the latest sample."""
        held = self.state.gathering
        before = held.samples[-1] if held.samples else held.before
        return None if before is None else before.at_s

    def _take(self, time_s: float, answers: list) -> Any:
        """One beat's answers at a moment of the boot (or of the source's own time)."""
        at_s = self._dating.timeline().at_s(time_s)
        answers = self._channels.right(answers, at_s)
        values = self.sampler.judge(answers, at_s)
        self._channels.note(at_s, values)
        for request in self._requests.take() if self._listens else ():
            self._carry_out(request, at_s)
        before_s = self._before_s()
        if before_s is not None and at_s <= before_s:
            return None
        self._note_silence(before_s, at_s)
        label = self._dating.timeline().label
        hour = self.clock.hour(at_s + label.utc_offset_s) if label.utc_trusted else None
        day = 1 + (at_s + label.utc_offset_s) / 86400 % 365.2425 if label.utc_trusted else None
        gathering, minute = gather.add(self.state.gathering, Sample(
            at_s, **values, hour=hour, year_day=day, doubt_s=self._doubt_s,
            fast_starter=next((r.fast_starter for _, r in answers if r.fast_starter), ())))
        self._doubt_s = 0.0
        self.state = replace(self.state, gathering=gathering)
        return self._live(minute) if minute is not None else None

    def _note_silence(self, before_s: float | None, at_s: float) -> None:
        """A time in the dark is a gap of everything; the end of a run that nobody asked for is an event too."""
        why, self._dark = self._dark, dark.STILL
        if before_s is None and self._last is not None:
            before_s = self._last.at_s
        if before_s is not None:
            longest_s = gather.longest_step_s(max(self._beat_s, self.state.gathering.step_s))
            batch = dark.describe(why, before_s, at_s, doubt_s=self._doubt_s, longest_s=longest_s, commit_s=self._commit_s)
            if batch is not None:
                self.writer.offer(batch)

    def _live(self, minute: Minute) -> Any:
        """One minute further for the trackers, the alerts, the log and whoever is to be told."""
        held, vehicle = self.state.watch, self.vehicle
        lived: tuple[LoggedMinute, ...] = ()
        found = None
        try:
            watched, found = self._step(held, minute, vehicle)
            lived = (logged_minute(minute, found, held.counts.total),)
            self._failures, self._broken = 0, ""
            self.findings = found
        except Exception as error:
            watched = self._handle_failure(error, held)
        at_s = minute.end_s
        silent = dependence.hold_back_lost(self.sampler.conditions(at_s), found.protection if found else None)
        conditions = (*(found.conditions if found else ()), *silent, self.writer.condition(),
                      self.writer.damage_condition(at_s), self._own(), *self._dating.conditions(at_s),
                      *self.self_watch.conditions(at_s, copies=self._copies), *self.capacity_watch.conditions(at_s),
                      *self._conditions())
        alerts = rules.update(self.state.alerts, conditions, at_s)
        events = found.news if found else ()
        labels, dated = self._dating.look(at_s)
        self._keep_heard()
        self.state = State(watched, alerts, self.state.gathering)
        self._relearner.note(minute)
        self.writer.offer(Batch(minute.samples, lived, self.state, (*events, *dated), tuple(change.alert for change in alerts.news),
                                self.sampler.gaps(), labels))
        for change in alerts.news:
            self._offer(change)
        if self.sampler.sources != self._told_sources:
            self._told_sources = dict(self.sampler.sources)
            self.writer.remember("sources", instruments.text(self._told_sources))
        if counted := self.capacity_watch.live(minute, getattr(found, "charge", None), vehicle, self._dating.timeline().label.utc_offset_s):
            self._carry_out(counted, at_s)
        self._show_live(at_s, minute, found)
        self._supervise(at_s)
        return found

    def _show_live(self, at_s: float, minute: Minute, found: Any) -> None:
        """While the log cannot be written, pages and commands are served from memory."""
        if self.writer.status().writing or found is None:
            self._live_file.remove()
            return
        label = self._dating.timeline().label
        self._live_file.write(live.LiveState(
            at_s, label.utc_offset_s, label.utc_sigma_s, label.utc_trusted, self.simulated, minute.samples[-1] if minute.samples else None,
            found, self.vehicle, tuple(a for a in self.state.alerts.alerts if a.open)))

    def _keep_heard(self) -> None:
        """The witnesses of the time go into the log where they are not there yet."""
        heard = self._dating.witnesses()
        if heard and heard != self._heard:
            self._heard = heard
            self.writer.remember("heard", saving.to_text(Heard(heard)))

    def _handle_failure(self, error: Exception, held: Any) -> Any:
        """A tracker broke: the readings are still logged, and nobody is told that all is well."""
        self._failures += 1
        self._broken = f"{type(error).__name__}: {error}"
        log.error("the trackers broke on this minute", exc_info=error)
        if self._failures == FAILURES:
            log.error("the trackers begin afresh after %d failures", FAILURES)
            return self._begin(self.vehicle)
        return held

    def _own(self) -> Condition:
        return Condition(
            "trackers_failed", "vehicle", active=bool(self._broken), priority="high",
            seen="The figures cannot be worked out." if self._broken else "", evidence=f"The reason: {self._broken}.",
            means="Readings are still logged, but charge, forecast and starter are not followed.",
            look_first="The journal (`journalctl -u ampledger`); please report it.",
            clears_when="It clears when a minute is worked out again.")

    def _supervise(self, at_s: float) -> None:
        """No thread ends in silence."""
        if not self.writer.alive():
            log.error("the log writer had ended; it is started again")
            self.writer.start()
            self.writer.offer(Batch(events=(Event(at_s, "thread_restarted", "vehicle", "The log writer had ended and was started again."),
                                            )))
        if self.writer.status().older:
            log.warning("the log could not be read at the start (%s) and can now: going on from it", self._unread)
            self.sampler.close()
            self.writer.close(1.0)
            self._told, why, kept = [], self._unread, len(self._unplaced)
            lost = "" if kept < (self._unplaced.maxlen or 0) else ", but for what was measured before the last two hours"
            self._resume()
            self._told.append(("log_found_late", f"The log could not be read at the start ({why}). What was measured until "
                               f"now is in it all the same{lost}."))

    def _carry_out(self, request: requests.Request, at_s: float) -> None:
        channels, offset_s = self._channels, self.label.utc_offset_s if self.label is not None else 0.0
        kept = Kept(self.state, self.vehicle, self.lives, self.entries, self.capacity_watch.test, channels.corrections)
        done = owner_requests.carry_out(kept, request, Moment(
            at_s, offset_s, self._begin, channels.currents_since, request.by, self.dated_by_owner, self._dating.said_by_owner,
            self._take_back_time, channels.recent, channels.channel_of, channels.is_unknown, channels.both))
        self.state, self.vehicle, self.lives, self.entries = done.kept.state, done.kept.vehicle, done.kept.history, done.kept.entries
        self.capacity_watch.test = done.kept.test
        if channels.take(done.kept.corrections):
            self.sampler.leave_out(channels.unknown_quantities())
        if done.relearn:
            self._begin_relearning(set(done.relearn))
        for key, text in done.remember:
            self.writer.remember(key, text)
        for change in done.changes:
            self._offer(change)
            log.info("%s of %s: %s", request.kind, change.alert.kind, change.alert.state)
        if done.batch is not None:
            self.writer.offer(done.batch)
            for event in done.batch.events:
                log.log(logging.WARNING if done.refused else logging.INFO, "%s: %s", request.kind, event.message)
        self._requests.answer(request, not done.refused, done.said, done.entry)

    def _take_back_time(self, before: tuple[Testimony, ...]) -> tuple[TimeLabel, ...]:
        labels = self._dating.take_back(before)
        self._keep_heard()
        return labels

    @property
    def label(self) -> TimeLabel | None:
        """How the present is dated; None before the first beat."""
        return self._dating.timeline().label if self._dating.line is not None else None

    def record_event(self, kind: str, message: str) -> None:
        """Records an event of the vehicle as a whole; from any thread."""
        at_s = self._before_s() or 0.0
        self.writer.offer(Batch(events=(Event(at_s, kind, "vehicle", message),)))

    def dated_by_owner(self, utc_s: float, sigma_s: float, boot_s: float, sure: bool) -> tuple[TimeLabel, ...]:
        """Takes the owner's word for the time; returns labels to be written. Raises ValueError (dating.py).

        utc_s: the time it was, UTC [s]; sigma_s: one sigma of it [s]; boot_s: at this moment since boot [s]; sure: the owner
        insists.
        """
        labels = self._dating.by_owner(utc_s, sigma_s, boot_s, sure)
        self._keep_heard()
        return labels

    def close(self, timeout_s: float = 10.0) -> bool:
        """Writes everything, the unfinished minute included, and ends; returns whether all was written."""
        self.writer.offer(Batch(state=self.state, gaps=(*self.sampler.gaps(), *self.sampler.open_gaps())))
        self.sampler.close()
        self._relearner.close(5.0)
        return self.writer.close(timeout_s)
