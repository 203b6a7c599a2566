"""What a salvage could not bring over: spans without minutes or readings where there were some."""
from bisect import bisect_right
from collections.abc import Iterator
from typing import Any

from monitor.store.past import Past

#: A minute without any raw reading is missing; fewer readings than this share of the usual number are told too.
FEW = 0.7
#: Where minutes are missing, readings further apart than this are told to be missing too [ms].
UNMEASURED_MS = 150_000


def find_holes(sql: Any, sealed: Past, until_ms: int) -> list[tuple[str, int, int]]:
    """Spans that have no minutes or no raw readings where there were some, as far as the present goes back.

    sql : of the new log
    sealed : the sealed days beside it
    until_ms : how far the log is known to have gone
    """
    found = []
    after = max(sealed.until_ms, 0) or None
    minutes = sql("select end_ms, start_ms, covered_s from minutes order by end_ms").fetchall()
    for end, start, _ in minutes:
        if after is not None and start > after:
            found.append(("minutes", after, start))
        after = end
    if until_ms > (after or 0):
        found.append(("minutes", after or 0, until_ms))
    spans = [(row[0], row[1], row[2]) for row in sql("select at_ms, end_ms, count from chunks order by at_ms")]
    loose = [row[0] for row in sql("select at_ms from samples order by at_ms")]
    measured = sorted([*((first, end) for first, end, _ in spans), *((at_ms, at_ms) for at_ms in loose)])
    bare = [("raw readings", a, b) for _, first, end in found for a, b in _bare(measured, first, end)]
    return found + bare + _raw_holes(minutes, spans, loose)


def _bare(measured: list[tuple[int, int]], first: int, end: int) -> Iterator[tuple[int, int]]:
    """What of a span (after first, up to end) lies further than UNMEASURED_MS from any reading."""
    after = first
    for begin, until in measured:
        if begin > first and after < end:
            if min(begin, end) - after > UNMEASURED_MS:
                yield after, min(begin, end)
            after = max(after, until)
    if end - after > UNMEASURED_MS:
        yield after, end


def _raw_holes(minutes: list[Any], spans: list[tuple[int, int, int]], loose: list[int]) -> list[tuple[str, int, int]]:
    """Minutes that were measured and of which no raw reading is left, or too few."""
    per_minute = sorted(bisect_right(loose, end) - bisect_right(loose, start) for end, start, covered in minutes
                        if (covered or 0) > 50 and loose and start >= loose[0] and end <= loose[-1])
    usual = per_minute[len(per_minute) // 2] if per_minute else 1
    holes: list[tuple[str, int, int]] = []
    firsts = [span[0] for span in spans]
    for end, start, covered in minutes:
        if (covered or 0) < 50:
            continue
        place = bisect_right(firsts, end) - 1
        packed = place >= 0 and spans[place][1] > start
        count = bisect_right(loose, end) - bisect_right(loose, start)
        if packed or count >= FEW * usual:
            continue
        if holes and holes[-1][2] >= start:
            holes[-1] = ("raw readings", holes[-1][1], end)
        else:
            holes.append(("raw readings", start, end))
    return holes
