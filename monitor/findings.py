"""What the trackers conclude: estimates that carry their doubt, conditions, events."""
from typing import ClassVar, Literal

from monitor.posterior import Z95 as Z95
from monitor.posterior import Posterior
from monitor.replacing import dataclass

Basis = Literal[
    "full charge seen", "empty seen", "rested", "counting", "measured", "learnt", "label", "first guess"
]

#: Before any moment of a log's own line of time [s] (choice: thirty years before its beginning).
NEVER_S = -1e9


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval and what it rests on. The field that holds it names the unit."""

    value: float
    low: float
    high: float
    basis: Basis


@dataclass(frozen=True, slots=True)
class NotYet:
    """Not known yet, and what would give it: a plain sentence."""

    because: str


Answer = Estimate | NotYet
#: In the place of an answer that nobody reads where a log is lived through again.
NOT_ASKED = NotYet("nobody asked")

#: What an event or a condition is about.
Part = Literal["house", "starter", "vehicle"]
Isolator = Literal["open", "closed", "unknown"]
Build = Literal["isolator", "dc_dc", "unknown"]
Engine = Literal["off", "cranking", "running", "unknown"]
Priority = Literal["high", "medium", "low"]
CrankGrade = Literal["healthy", "borderline", "weak", "failed", ""]


@dataclass(frozen=True, slots=True)
class Condition:
    """Something a tracker sees that may deserve an alert; the alert rules decide when it becomes one.

    active is the tracker's own verdict now; where the tracker needs delay it has already waited,
    unless on_delay_s or off_delay_s say that the rules should.
    """

    kind: str
    battery: Part
    active: bool
    priority: Priority = "medium"
    seen: str = ""          # the headline: what is so, a whole sentence of at most twelve words
    means: str = ""         # what it means
    look_first: str = ""    # what to look at first
    clears_when: str = ""   # what would make it go away
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    figures: tuple[tuple[str, float], ...] = ()
    evidence: str = ""      # what was seen, with its figures: one tap deeper

    #: fields that conditions of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"evidence"})


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened once, with the moment it was seen."""

    at_s: float
    kind: str
    battery: Part
    message: str
    figures: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class ChargeFindings:
    """State of the house battery. Fractions are of its own present capacity."""

    charge_frac: Answer                 # 0 empty, 1 full
    capacity_ah: Answer                 # present capacity at the rated rate, 25 °C
    charge_left_ah: Answer              # down to empty
    usable_left_ah: Answer              # down to the reserve
    resistance_ohm: Answer
    current_offset_a: Answer            # of the shunt, incl. unseen own use of the battery
    anchor: str = ""                    # "full" | "empty" | "rest" | "" (none yet)
    anchor_age_s: float | None = None
    chemistry_doubt: str = ""           # "" or: behaves like ..., with the evidence
    charging_stage: Literal["discharging", "charging", "absorption", "float", "resting", "unknown"] = "unknown"
    posterior: Posterior | None = None  # charge and capacity at once, for whoever computes on; None where they are not known

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"posterior"})


@dataclass(frozen=True, slots=True)
class ProtectionFindings:
    """Whether a lithium battery's own electronics have cut it off.

    While voltage_trusted is False the voltage is a charger's or an open switch's: nothing is to be read from it.
    """

    path: Literal["", "charge", "discharge"] = ""
    since_s: float | None = None
    causes: tuple[str, ...] = ()        # candidates, the likeliest first
    voltage_trusted: bool = True


@dataclass(frozen=True, slots=True)
class JoinFindings:
    """Are the batteries joined, does the engine run, what does the join cost."""

    isolator: Isolator = "unknown"
    engine: Engine = "unknown"
    build: Build = "unknown"
    path_resistance_ohm: Answer = NotYet("it is measured when the isolator next closes or opens under current")
    because: str = ""


@dataclass(frozen=True, slots=True)
class StarterFindings:
    """The starter battery while it stands alone."""

    charge_frac: Answer
    rest_voltage_v: Answer
    drain_a: Answer                     # positive: amperes leaving it
    doubtful_after_s: float | None = None   # from now until a start becomes doubtful at this rate
    crank_lowest_v: Answer = NotYet("no start has been seen yet")
    crank_drop_frac: Answer = NotYet("it needs a fast voltage reading during a start")
    crank_verdict: CrankGrade = ""


@dataclass(frozen=True, slots=True)
class ForecastFindings:
    """Tonight, as of now. Times are seconds from now."""

    issued_s: float
    probability_before_sun: float | None        # reserve reached before solar takes over
    because: str = ""                           # why it is rough or not known
    reserve_in_s: float | None = None           # None: not within 72 h
    reserve_in_low_s: float | None = None
    reserve_in_high_s: float | None = None
    lowest_frac: float | None = None
    lowest_low_frac: float | None = None        # 10 %
    lowest_high_frac: float | None = None       # 90 %
    sun_back_in_s: float | None = None
    full_in_s: float | None = None
    probability_cloudy_tomorrow: float | None = None    # by the morning after next, if tomorrow is dull
    fan: tuple[tuple[float, float, float, float], ...] = ()   # (s from now, 10 %, 50 %, 90 %) charge fractions
    levers: tuple[tuple[str, float], ...] = ()  # (sentence, probability with it), the smallest act first
    sentence: str = ""                          # headline and detail together
    headline: str = ""                          # the answer in at most twelve words
    detail: str = ""                            # the figures behind it
    reserve_frac: float | None = None           # what the owner wants to keep
    fridge_stops_frac: float | None = None      # charge at which the fridge's own cut-out opens, where that is configured
    probability_fridge_stops: float | None = None   # before the sun is back

    #: fields that findings of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({
        "headline", "detail", "reserve_frac", "fridge_stops_frac", "probability_fridge_stops"})

    @property
    def first_mark_frac(self) -> float | None:
        """The mark that `probability_before_sun` is about: the higher of reserve and fridge [0..1]."""
        marks = [mark for mark in (self.reserve_frac, self.fridge_stops_frac) if mark is not None]
        return max(marks) if marks else None

    def is_below_mark(self, charge_frac: float) -> bool:
        """Whether so much charge [0..1] is below that mark already."""
        return self.first_mark_frac is not None and charge_frac < self.first_mark_frac

    @property
    def fridge_first(self) -> bool:
        """Whether the fridge stops before the owner's reserve is reached."""
        return self.fridge_stops_frac is not None and self.reserve_frac is not None and self.fridge_stops_frac > self.reserve_frac


VerdictWord = Literal["healthy", "watch", "replace", "not enough evidence"]


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One line of evidence for or against a battery. about: what it rests on."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"about"})
    weight: Literal["decisive", "strong", "weak", "for"]
    seen: str
    overturned_by: str
    about: Literal["capacity", "resistance", "count"] = "capacity"


@dataclass(frozen=True, slots=True)
class HealthFindings:
    """The house battery's life so far: the verdict, what it rests on, and the wear behind it."""

    verdict: VerdictWord
    lines: tuple[EvidenceLine, ...]
    capacity_frac: Answer                    # usable charge against the label
    resistance_growth_ratio: Answer          # against the battery's own first weeks
    resistance_ohm: Answer                   # at 25 °C, brought to a full battery
    weeks_count: int
    charge_out_ah: float
    full_cycles_count: float                 # equivalent full cycles, of the label's capacity
    depth_counts: tuple[float, ...]          # cycles by depth, ten points each (rainflow)
    low_hours: tuple[float, float, float]    # below 50, 30, 20 % of charge
    heat_ratio: tuple[float, float] | None   # ageing by warmth against 25 °C, by two published rules
    since_full_s: float
    longest_without_full_s: float
    own_capacity_ah: Answer                  # by swings between two words of the battery: lead-acid its acid's, never its health
    at_least_ah: float                       # drawn from full, these two months, without finding it empty; 0: nothing yet
    heat_because: str = ""                   # why heat_ratio is hidden
