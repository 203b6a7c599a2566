"""When an alert is raised, cleared, acknowledged or shelved: a pure fold over conditions.

The states are those of IEC 62682 / ISA-18.2 (from memory): active and returned, each acknowledged or
not, and shelved with an expiry. On-delay, off-delay and deadband as in IEC 62541-9, annex B.
"""
from dataclasses import dataclass
from typing import ClassVar, Literal

from monitor.findings import Condition, Part, Priority
from monitor.replacing import replace

State = Literal["active", "active acknowledged", "returned", "normal"]
#: After an alert has cleared, the same one is not raised anew for so long: no chatter.
HOLD_OFF_S = 6 * 3600.0
#: At most so many alerts are announced in ten minutes; more are kept and shown, not sent (ISA-18.2 flood: 10).
FLOOD_COUNT, FLOOD_S = 6, 600.0
#: An alert that comes again within so long counts as the same cause returning (choice: a week of the same life).
RETURNS_S = 7 * 86400.0
#: Suppressed by design: a kind is not sent while the one that foretold it is active and no less urgent.
FORETOLD = {"house_low": "house_reserve_forecast"}
#: How urgent; the most urgent has most.
RANK = {"low": 0, "medium": 1, "high": 2}


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert and its life so far; times on the log's own line."""

    id: int
    kind: str
    battery: Part
    priority: Priority
    state: State
    raised_at_s: float
    seen: str
    means: str
    look_first: str
    clears_when: str
    figures: tuple[tuple[str, float], ...] = ()
    acknowledged_at_s: float | None = None
    cleared_at_s: float | None = None
    shelved_until_s: float | None = None
    acknowledged_by: str = ""
    evidence: str = ""
    count: int = 1                      # how often it has come within RETURNS_S of the time before

    #: fields that alerts of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"acknowledged_by", "evidence", "count"})

    @property
    def open(self) -> bool:
        """Still asks for a look: active, or gone without having been acknowledged."""
        return self.state != "normal"


What = Literal["raised", "cleared", "acknowledged", "shelved", "unshelved", "unacknowledged", "worse", "closed"]


@dataclass(frozen=True, slots=True)
class AlertChange:
    """What happened to an alert, for the log and the deliveries. announce is False in a flood or when shelved."""

    at_s: float
    what: What
    alert: Alert
    announce: bool = True


@dataclass(frozen=True, slots=True)
class DelayedCondition:
    """A condition that is waiting for its delay."""

    kind: str
    battery: str
    since_s: float


@dataclass(frozen=True, slots=True)
class AlertsState:
    """All alerts that are open or recent, and what waits."""

    next_id: int = 1
    alerts: tuple[Alert, ...] = ()
    rising: tuple[DelayedCondition, ...] = ()
    falling: tuple[DelayedCondition, ...] = ()
    announced_s: tuple[float, ...] = ()
    news: tuple[AlertChange, ...] = ()


def begin() -> AlertsState:
    """No alerts."""
    return AlertsState()


def update(state: AlertsState, conditions: tuple[Condition, ...], at_s: float) -> AlertsState:
    """One step: conditions become alerts after their delay, alerts clear after theirs.

    state: the alerts so far; conditions: everything that is seen now; at_s: the log's time [s].
    """
    if _quiet(state, conditions, at_s):
        return replace(state, news=()) if state.news else state
    return _Round(state, at_s).run(conditions)


class _Round:
    """One step of the rules, in the making."""

    def __init__(self, state: AlertsState, at_s: float) -> None:
        self.at_s, self.next_id = at_s, state.next_id
        self.alerts = {a.id: a for a in state.alerts}
        self.live = {(a.kind, a.battery): a for a in state.alerts if a.state in ("active", "active acknowledged")}
        self.rising = {(p.kind, p.battery): p for p in state.rising}
        self.falling = {(p.kind, p.battery): p for p in state.falling}
        self.announced = [t for t in state.announced_s if at_s - t < FLOOD_S]
        self.news: list[AlertChange] = []

    def run(self, conditions: tuple[Condition, ...]) -> AlertsState:
        """The state after all conditions."""
        for shelved in tuple(self.alerts.values()):
            self.end_shelf(shelved)
        # a tracker that no longer speaks of a condition has let go of it
        spoken = {(c.kind, c.battery) for c in conditions}
        silent = [Condition(a.kind, a.battery, active=False) for key, a in self.live.items() if key not in spoken]
        for condition in (*conditions, *silent):
            key = (condition.kind, condition.battery)
            alert = self.live.get(key)
            if condition.active:
                self.falling.pop(key, None)
                if alert is not None:
                    self.go_on(alert, condition)
                else:
                    self.rise(key, condition)
            else:
                self.rising.pop(key, None)
                if alert is not None:
                    self.fall(key, alert, condition.off_delay_s)
        return AlertsState(next_id=self.next_id, alerts=_keep_recent(self.alerts), rising=tuple(self.rising.values()),
                           falling=tuple(self.falling.values()), announced_s=tuple(self.announced), news=tuple(self.news))

    def tell(self, what: What, alert: Alert, announce: bool = True) -> None:
        """Notes a change; whether it is announced hangs on the shelf, on the flood, and on a warning that came before it.

        what: what happened; alert: the alert; announce: whether it may be announced.
        """
        shelved = alert.shelved_until_s is not None
        before = self.live.get((FORETOLD.get(alert.kind, ""), alert.battery))
        if before is not None and RANK[before.priority] >= RANK[alert.priority]:
            announce = False
        if what in ("raised", "worse") and announce and not shelved:
            announce = len(self.announced) < FLOOD_COUNT
            if announce:
                self.announced.append(self.at_s)
        self.news.append(AlertChange(self.at_s, what, alert, announce and not shelved))

    def end_shelf(self, alert: Alert) -> None:
        """An alert whose time on the shelf is over speaks again."""
        if alert.shelved_until_s is None or self.at_s < alert.shelved_until_s:
            return
        self.alerts[alert.id] = freed = replace(alert, shelved_until_s=None)
        if (alert.kind, alert.battery) in self.live:
            self.live[alert.kind, alert.battery] = freed
            self.tell("unshelved", freed)

    def go_on(self, alert: Alert, condition: Condition) -> None:
        """An alert whose condition still holds: its figures follow, and it may have become worse."""
        if RANK[condition.priority] > RANK[alert.priority]:
            self.alerts[alert.id] = worse = _was_raised(alert, condition)
            self.tell("worse", worse)
        else:
            self.alerts[alert.id] = replace(alert, figures=condition.figures or alert.figures)

    def rise(self, key: tuple[str, str], condition: Condition) -> None:
        """A condition that holds and has no alert yet becomes one after its delay; one just cleared comes back."""
        waiting = self.rising.setdefault(key, DelayedCondition(*key, self.at_s))
        if self.at_s - waiting.since_s < condition.on_delay_s:
            return
        self.rising.pop(key)
        alike = [a for a in self.alerts.values() if (a.kind, a.battery) == key]
        recent = next((a for a in reversed(alike) if a.cleared_at_s is not None and self.at_s - a.cleared_at_s < HOLD_OFF_S), None)
        if recent is not None and RANK[condition.priority] <= RANK[recent.priority]:
            back: State = "active acknowledged" if recent.acknowledged_at_s is not None else "active"
            self.alerts[recent.id] = again = replace(recent, state=back, cleared_at_s=None, count=recent.count + 1)
            self.tell("raised", again, announce=False)
            return
        for before in alike:
            if before.state == "returned":     # one alert for one cause: the new one counts those before it
                self.alerts[before.id] = closed = replace(before, state="normal")
                self.tell("closed", closed, announce=False)
        shelf = next((a.shelved_until_s for a in alike if a.shelved_until_s is not None), None)
        self.alerts[self.next_id] = new = Alert(
            id=self.next_id, kind=condition.kind, battery=condition.battery, priority=condition.priority, state="active",
            raised_at_s=self.at_s, seen=condition.seen, means=condition.means, look_first=condition.look_first,
            clears_when=condition.clears_when, figures=condition.figures, shelved_until_s=shelf, evidence=condition.evidence,
            count=1 + max((a.count for a in alike if self.at_s - (a.cleared_at_s or a.raised_at_s) < RETURNS_S), default=0))
        self.next_id += 1
        self.tell("raised", new)

    def fall(self, key: tuple[str, str], alert: Alert, off_delay_s: float) -> None:
        """An alert whose condition no longer holds clears after its delay.

        key: what it is called; off_delay_s: how long it has to be over [s].
        """
        waiting = self.falling.setdefault(key, DelayedCondition(*key, self.at_s))
        if self.at_s - waiting.since_s < off_delay_s:
            return
        self.falling.pop(key)
        after: State = "normal" if alert.state == "active acknowledged" else "returned"
        self.alerts[alert.id] = gone = replace(alert, state=after, cleared_at_s=self.at_s)
        self.tell("cleared", gone)


def _quiet(state: AlertsState, conditions: tuple[Condition, ...], at_s: float) -> bool:
    """Whether nothing can change: nothing is active, waits or is put aside. Nearly every minute of life is such a one."""
    if state.rising or state.falling:
        return False
    for condition in conditions:
        if condition.active:
            return False
    for alert in state.alerts:
        if alert.state == "active" or alert.state == "active acknowledged" or alert.shelved_until_s is not None:
            return False
    return not state.announced_s or at_s - state.announced_s[-1] < FLOOD_S


def _was_raised(alert: Alert, condition: Condition) -> Alert:
    return replace(alert, priority=condition.priority, seen=condition.seen, means=condition.means,
                   look_first=condition.look_first, clears_when=condition.clears_when, figures=condition.figures,
                   evidence=condition.evidence, state="active", acknowledged_at_s=None, acknowledged_by="")


def _keep_recent(alerts: dict[int, Alert]) -> tuple[Alert, ...]:
    """Open and shelved ones all, closed ones the latest: never an open one dropped."""
    every = sorted(alerts.values(), key=lambda a: a.id)
    closed = [a for a in every if not a.open and a.shelved_until_s is None]
    drop = {a.id for a in closed[:-20]} if len(closed) > 20 else set()
    return tuple(a for a in every if a.id not in drop)


def acknowledge(state: AlertsState, alert_id: int, at_s: float, by: str = "") -> AlertsState:
    """Somebody has seen it, and who. An alert that had already gone is closed by this.

    state: the alerts so far; alert_id: number of the alert; at_s: the log's time [s]; by: who saw it.

    Raises
    ------
    KeyError : no open alert of that number
    """
    alert = _open(state, alert_id)
    after: State = "normal" if alert.state == "returned" else "active acknowledged"
    done = replace(alert, state=after, acknowledged_at_s=at_s, acknowledged_by=by)
    return _apply_change(state, done, AlertChange(at_s, "acknowledged", done, announce=False))


def shelve(state: AlertsState, alert_id: int, until_s: float, at_s: float) -> AlertsState:
    """Quiet until then; every shelf has an end, at most seven days away.

    state: the alerts so far; alert_id: number of the alert; until_s: when the quiet ends [s]; at_s:
    the log's time [s].

    Raises
    ------
    KeyError : no open alert of that number
    ValueError : the end is not within the next seven days
    """
    alert = _open(state, alert_id)
    if not at_s < until_s <= at_s + 7 * 86400:
        raise ValueError("an alert can be shelved for up to seven days, not longer")
    done = replace(alert, shelved_until_s=until_s)
    return _apply_change(state, done, AlertChange(at_s, "shelved", done, announce=False))


def unacknowledge(state: AlertsState, alert_id: int, at_s: float) -> AlertsState:
    """Nobody has seen it after all: as acknowledge was before.

    state: the alerts so far; alert_id: number of the alert; at_s: the log's time [s].

    Raises
    ------
    KeyError : no alert of that number that was acknowledged and is still kept
    """
    alert = next((a for a in state.alerts if a.id == alert_id and a.acknowledged_at_s is not None), None)
    if alert is None:
        raise KeyError(f"alert {alert_id} is no longer marked as seen, or is long over")
    before: State = "active" if alert.state == "active acknowledged" else "returned"
    back = replace(alert, state=before, acknowledged_at_s=None, acknowledged_by="")
    return _apply_change(state, back, AlertChange(at_s, "unacknowledged", back, announce=False))


def unshelve(state: AlertsState, alert_id: int, at_s: float) -> AlertsState:
    """It speaks again at once.

    state: the alerts so far; alert_id: number of the alert; at_s: the log's time [s].

    Raises
    ------
    KeyError : no alert of that number that is put aside
    """
    alert = next((a for a in state.alerts if a.id == alert_id and a.shelved_until_s is not None), None)
    if alert is None:
        raise KeyError(f"alert {alert_id} has no reminder set")
    back = replace(alert, shelved_until_s=None)
    return _apply_change(state, back, AlertChange(at_s, "unshelved", back, announce=False))


def _open(state: AlertsState, alert_id: int) -> Alert:
    for alert in state.alerts:
        if alert.id == alert_id and alert.open:
            return alert
    raise KeyError(f"no open alert number {alert_id}")


def _apply_change(state: AlertsState, alert: Alert, change: AlertChange) -> AlertsState:
    return replace(state, alerts=tuple(alert if a.id == alert.id else a for a in state.alerts), news=(change,))
