"""Times in which nothing was measured: each is a gap with its reason, an end that nobody asked for is an event with its length."""
from monitor.findings import Event
from monitor.reporting.sentences import span
from monitor.store.batch import Batch, Gap

#: why nothing was measured for a time
CUT = "the power went, or the process was ended"
STOPPED = "the monitor was stopped"
STILL = "no beat came: suspended, or starved of processor time"


def describe(why: str, before_s: float, at_s: float, *, doubt_s: float, longest_s: float, commit_s: float) -> Batch | None:
    """What is to be logged of a silence; None where it was none.

    Parameters
    ----------
    why : CUT, STOPPED or STILL
    before_s, at_s : the last moment before it and the first after it [s]
    doubt_s : how unsure its length is [s]
    longest_s : the longest step that is no silence [s]
    commit_s : the time between commits: what a cut may have cost besides [s]
    """
    silent_s = at_s - before_s
    gaps = (Gap("", why, before_s, at_s, 1),) if silent_s > longest_s else ()
    if why != CUT:
        return Batch(gaps=gaps) if gaps else None
    doubt = f", give or take {span(doubt_s)}" if doubt_s >= 1 else ""
    return Batch(gaps=gaps, events=(Event(
        at_s, "ended_uncleanly", "vehicle", f"The monitor ended without a goodbye: {why}. Nothing was measured for {span(silent_s)}"
        f"{doubt}; of the time before, up to {span(commit_s)} may not have been written.",
        (("silent_s", round(silent_s, 1)), ("silent_doubt_s", round(doubt_s, 1)))),))
