"""Who said what time it was, and which of it can be true together: a date is chosen among witnesses, never just taken.

The witnesses of all boots are laid along the log's own line of time, which counts exactly within a boot. Two of them can
both be right only if the silences between them come out as possible: never negative, never longer than a vehicle is laid
up. The set of witnesses that can be right together and weighs most dates the log; the others are kept, and may win
later. So a wrong date is mended by the right one, whichever came first, in every boot it had touched.
"""
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate, pairwise
from math import hypot, log
from typing import NamedTuple

from monitor.store.time_labels import Testimony, TimeLabel

#: This build is younger than any moment before this: 2026-01-01 UTC.
NOT_BEFORE_UTC_S = 1767225600.0
#: No later date is believed of anybody: 1024 weeks on, where a receiver's week number rolls over (IS-GPS-200, week number).
NOT_AFTER_UTC_S = NOT_BEFORE_UTC_S + 1024 * 7 * 86400.0
#: Longest a vehicle is taken to have been laid up on one witness's word: a year and a month [s]. Our choice.
LAID_UP_S = 400 * 86400.0
#: The same where two witnesses that do not know of each other agree, or the owner is sure: ten years [s]. Our choice.
FORGOTTEN_S = 3653 * 86400.0
#: Silences of which nobody knows anything may each have been so long [s]: the end of their prior (clock.py).
UNKNOWN_SILENCE_S = 60 * 86400.0
#: A quartz in the cold and the heat; more than this within one boot is no drift but a clock that was set. Twice 50 ppm.
DRIFT_RATIO = 1e-4
#: A trusted clock and its label may differ by so much before a new label is written [s].
SLACK_S = 2.0
OWNER, SURE, FILE, CHIP = "the owner", "the owner, asked twice", "the log's own file", "clock chip"
SATELLITES = "satellite time from gpsd"
#: What a witness's word weighs. Our choice: satellites above a network that anybody on it can lie for; a chip only repeats
#: what it was last told, so that all its words together stay below one of another; a file's time is that of a clock nobody
#: vouched for; an owner who was asked outweighs any history.
WEIGHT = {SURE: 1000.0, SATELLITES: 2.0, OWNER: 0.9, CHIP: 0.004, FILE: 0.001}
NETWORK_WEIGHT = 1.0
#: How far each may be off when it is asked whether it and another can both be right [s], one standard deviation: a person's
#: phone or wristwatch; a chip that has run for a year by itself (20 ppm, common practice).
ASIDE_S = {OWNER: 900.0, SURE: 900.0, FILE: 900.0, CHIP: 600.0}
#: A second word in the same boot adds so much of its weight: who is wrong in one place is wrong together.
SAME_BOOT_SHARE = 0.1
#: What a silence as long as LAID_UP_S takes from the weight of who says so; it grows from none at the usual length on.
LAID_UP_DOUBT = 0.9
#: Witnesses that are kept in mind: the latest so many, and of the older ones what the owner was sure of.
KEPT = 200


class Agreed(NamedTuple):
    """What the witnesses lead to: the labels of all boots, and who speaks of the present boot and is not believed."""

    labels: tuple[TimeLabel, ...]
    doubted: Testimony | None


def possible(utc_s: float) -> bool:
    """Whether a date lies between the build's and the last one that is believed of anybody."""
    return NOT_BEFORE_UTC_S <= utc_s < NOT_AFTER_UTC_S


def heard_of(labels: Iterable[TimeLabel]) -> tuple[Testimony, ...]:
    """The witnesses behind the labels of a log that did not keep them."""
    return tuple(Testimony(x.at_s, x.boot_id, x.utc_offset_s, x.utc_sigma_s, x.source) for x in labels if x.utc_trusted)


def heard_too(heard: tuple[Testimony, ...], new: Testimony) -> tuple[Testimony, ...]:
    """The witnesses with one more word; the very same tuple where it says nothing new. Moments are kept to a millisecond."""
    new = Testimony(round(new.at_s, 3), new.boot_id, round(new.utc_offset_s, 3), new.sigma_s, new.source)
    if not possible(new.at_s + new.utc_offset_s):
        return heard
    before = next((t for t in reversed(heard) if (t.boot_id, t.source) == (new.boot_id, new.source)), None)
    if before is not None and abs(before.utc_offset_s - new.utc_offset_s) <= SLACK_S + 2 * hypot(before.sigma_s, new.sigma_s):
        if new.sigma_s >= before.sigma_s / 2:
            return heard
        new = Testimony(before.at_s, new.boot_id, new.utc_offset_s, new.sigma_s, new.source)
        return tuple(new if t is before else t for t in heard)
    kept = (*heard, new)
    return tuple(t for i, t in enumerate(kept) if i >= len(kept) - KEPT or t.source == SURE)


def agree(labels: Sequence[TimeLabel], heard: Sequence[Testimony]) -> Agreed:
    """Dates every boot by the witnesses that can be right together.

    labels : of the whole log, oldest first; their at_s, gaps and boots stay as they are
    heard : the witnesses that are kept in mind, in the order in which they spoke
    """
    silences = _Silences(labels)
    chosen = _heaviest(silences, heard)
    here = labels[-1].boot_id
    latest = next((t for t in reversed(heard) if t.boot_id == here and t.source != FILE), None)
    believed = any(t.boot_id == here and t.source != FILE for t in chosen)
    daters = [t for t in chosen if t.source != FILE]
    known = {t.boot_id for t in heard if t.source != FILE}
    # boots whose witness is no longer kept in mind stay as they were, where that can be
    old = [t for t in heard_of(labels) if t.boot_id not in known]
    daters = sorted(daters + _fitting(silences, old, daters), key=lambda t: t.at_s)
    return Agreed(_fill(*_rows(labels, daters)), None if believed else latest)


class _Silences:
    """How many boots began up to a moment, and what the line of time allowed for the silences before them."""

    def __init__(self, labels: Sequence[TimeLabel]) -> None:
        found = [(b.at_s, b.gap_s) for a, b in pairwise(labels) if a.boot_id != b.boot_id]
        self._at_s = [at_s for at_s, _ in found]
        self._sum_s = [0.0, *accumulate(gap_s for _, gap_s in found)]

    def doubt(self, a: Testimony, b: Testimony, backed: bool) -> float | None:
        """What speaks against a and the later b both being right: the less likely the silences between them come out, the
        more, in the weight of a witness's word. None where they cannot both be right.

        backed : b does not stand alone
        """
        from_count, to_count = bisect_right(self._at_s, a.at_s), bisect_right(self._at_s, b.at_s)
        real_s = self._sum_s[to_count] - self._sum_s[from_count] + b.utc_offset_s - a.utc_offset_s
        tolerance_s = 3 * hypot(_sigma_s(a), _sigma_s(b)) + SLACK_S + DRIFT_RATIO * (b.at_s - a.at_s)
        if from_count == to_count:
            return 0.0 if abs(real_s) <= tolerance_s else None
        usual_s = (to_count - from_count) * UNKNOWN_SILENCE_S
        if not -tolerance_s <= real_s <= max(FORGOTTEN_S if backed else LAID_UP_S, usual_s) + tolerance_s:
            return None
        return LAID_UP_DOUBT * (log(max(real_s / usual_s, 1.0)) / log(LAID_UP_S / UNKNOWN_SILENCE_S)) ** 2


def _heaviest(silences: _Silences, heard: Sequence[Testimony]) -> list[Testimony]:
    """The heaviest chain of witnesses each of which can be right beside the one before; among equals the latest heard."""
    weights = [WEIGHT.get(t.source, NETWORK_WEIGHT) for t in heard]
    order = sorted(range(len(heard)), key=lambda i: (heard[i].at_s, -weights[i], i))
    best: list[tuple[float, int]] = []  # weight, and the latest heard in it
    came_from: list[int | None] = []
    for place, i in enumerate(order):
        backed = _is_backed(heard[i], heard)
        top, source = (weights[i], i), None
        for earlier in range(place - 1, -1, -1):
            a, share = heard[order[earlier]], SAME_BOOT_SHARE if heard[order[earlier]].boot_id == heard[i].boot_id else 1.0
            score = (best[earlier][0] + share * weights[i], max(best[earlier][1], i))
            if (score > top and (doubt := silences.doubt(a, heard[i], backed)) is not None
                    and (score := (score[0] - doubt, score[1])) > top):
                top, source = score, earlier
        best.append(top)
        came_from.append(source)
    chain: list[Testimony] = []
    at = max(range(len(best)), key=lambda place: best[place]) if best else None
    while at is not None:
        chain.append(heard[order[at]])
        at = came_from[at]
    return chain[::-1]


def _sigma_s(t: Testimony) -> float:
    return max(t.sigma_s, ASIDE_S.get(t.source, 0.0))


def _is_borrowed(t: Testimony) -> bool:
    return t.source not in (SATELLITES, OWNER, SURE)


def _is_backed(t: Testimony, heard: Sequence[Testimony]) -> bool:
    """Whether the owner was asked, or a witness that does not know of this one says the same in the same boot.

    A chip and the network do know of each other: the kernel writes the network's time into the chip.
    """
    if t.source == SURE:
        return True
    return any(o.boot_id == t.boot_id and o.source not in (t.source, FILE) and not (_is_borrowed(o) and _is_borrowed(t))
               and abs(o.utc_offset_s - t.utc_offset_s) <= 3 * hypot(_sigma_s(o), _sigma_s(t)) + SLACK_S
               + DRIFT_RATIO * abs(o.at_s - t.at_s) for o in heard)


def _fitting(silences: _Silences, old: list[Testimony], daters: list[Testimony]) -> list[Testimony]:
    """Those of the old that can be right beside the daters around them."""
    at = [t.at_s for t in daters]

    def fits(t: Testimony, i: int) -> bool:
        return (i == 0 or silences.doubt(daters[i - 1], t, True) is not None) and (
            i == len(daters) or silences.doubt(t, daters[i], True) is not None)

    return [t for t in old if fits(t, bisect_right(at, t.at_s))]


def _rows(labels: Sequence[TimeLabel], daters: list[Testimony]) -> tuple[list[TimeLabel], list[bool]]:
    """Labels by the best dater of each boot, and which of them were dated so. A drift begins a label of its own."""
    told: dict[str, list[Testimony]] = {}
    for t in daters:
        told.setdefault(t.boot_id, []).append(t)
    rows = {x.at_s: x for x in labels}
    first: dict[str, TimeLabel] = {}
    for x in labels:
        first.setdefault(x.boot_id, x)
    for boot, mine in told.items():
        best = min(mine, key=lambda t: (t.sigma_s, -t.at_s)).source
        told[boot] = [t for t in mine if t.source == best]
        for t in told[boot][1:]:
            if boot in first and t.at_s > first[boot].at_s:
                rows.setdefault(t.at_s, TimeLabel(t.at_s, boot, 0.0, 0.0, True, "", boot_offset_s=first[boot].boot_offset_s))
    made, dated = [], []
    for _, row in sorted(rows.items()):
        mine = told.get(row.boot_id, [])
        dater = next((t for t in reversed(mine) if t.at_s <= row.at_s), mine[0] if mine else None)
        dated.append(dater is not None)
        made.append(row if dater is None else _relabel(row, dater.utc_offset_s, dater.sigma_s, True, dater.source))
    return made, dated


def _relabel(row: TimeLabel, offset_s: float, sigma_s: float, trusted: bool, source: str) -> TimeLabel:
    return TimeLabel(row.at_s, row.boot_id, offset_s, sigma_s, trusted, source, row.gap_s, row.gap_doubt_s, row.boot_offset_s)


def _fill(rows: list[TimeLabel], dated: list[bool]) -> tuple[TimeLabel, ...]:
    """Dates boots that nobody dated: on from the one before, back from the one after, or shared out between the two."""
    made = list(rows)
    known = [i for i, is_dated in enumerate(dated) if is_dated]
    for back, on in zip([None, *known], [*known, None], strict=True):
        first, end = (0 if back is None else back + 1), (len(rows) if on is None else on)
        if back is None and on is None:
            return tuple(rows)
        shares = list(accumulate(max(x.gap_doubt_s, x.gap_s) for x in rows[first:end + 1]))
        gaps = list(accumulate(x.gap_s for x in rows[first:end + 1]))
        doubts = [x.gap_doubt_s for x in rows[first:end + 1]]
        before = list(accumulate(doubts, hypot))
        after = [*list(accumulate(reversed(doubts), hypot))[::-1], 0.0]
        for k in range(end - first):
            row, before_s, after_s = rows[first + k], before[k], after[k + 1]
            if on is not None and back is None:
                made[first + k] = _relabel(row, rows[on].utc_offset_s, hypot(rows[on].utc_sigma_s, after_s), False, "dated backwards")
            elif back is not None and on is None:
                made[first + k] = _relabel(row, rows[back].utc_offset_s, hypot(rows[back].utc_sigma_s, before_s), False, "counted on")
            elif back is not None and on is not None:
                # what was silence altogether is known; how it is shared out is not, to no more than uniform over it
                silence_s = gaps[-1] + rows[on].utc_offset_s - rows[back].utc_offset_s
                mine_s = silence_s * shares[k] / (shares[-1] or 1.0)
                sigma_s = max(min(before_s, after_s), abs(silence_s) / 12**0.5)
                made[first + k] = _relabel(row, rows[back].utc_offset_s + mine_s - gaps[k],
                                           hypot(rows[back].utc_sigma_s, sigma_s), False, "dated between")
    return tuple(made)
