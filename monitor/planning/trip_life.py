"""A battery with its panel and charging paths living through a trip, hour by hour."""
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from monitor.battery import charge_loss
from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.planning import charging_paths as paths
from monitor.planning import life_engine
from monitor.planning.charging_paths import EnginePath, Luck
from monitor.planning.life_engine import CLASSES_C, LifeDay, LifeResult, Rig
from monitor.planning.trip_weather import REST_DAYS

P, PANEL = table("planning", "plan"), table("planning", "panel")
CUT_FRAC = {True: P.number("lead_cut_frac"), False: P.number("lithium_cut_frac")}
BACK_FRAC, SHORE_A = P.number("back_frac"), P.number("shore_a")
SELF_PER_H = {True: P.number("lead_self_per_h"), False: P.number("lithium_self_per_h")}
OTHER_LOSSES, CHARGING_V = PANEL.number("other_losses"), PANEL.number("charging_v")
PLAIN_CONTROLLER, AGE_PER_YEAR = PANEL.number("plain_controller"), PANEL.number("age_per_year")
START_FRAC = P.number("start_frac")
#: Charges of the tables.
CHARGES = tuple(k / paths.STEPS for k in range(paths.STEPS + 1))


@dataclass(frozen=True, slots=True)
class Candidate:
    """A system to compare.

    capacity_ah : rated; reserve_frac : that its owner wants to keep
    panel_w : label of all panels; tilt_deg, mount : how they lie; tracking : the controller finds the panel's maximum
    panel_years : their age; price : the owner's figure, None: none was given
    """

    name: str
    chemistry: Chemistry
    capacity_ah: float
    reserve_frac: float
    panel_w: float = 0.0
    engine: EnginePath = EnginePath()
    tilt_deg: float = 0.0
    mount: Literal["roof", "free"] = "roof"
    tracking: bool = True
    panel_years: float = 0.0
    shore_a: float | None = None
    price: float | None = None

    @property
    def lead_acid(self) -> bool:
        """Whether it is lead-acid."""
        return self.chemistry != "lfp"


@dataclass(frozen=True, slots=True)
class Chances:
    """What is not known of one vehicle and its battery: capacity and panel as factors, charging loss as a factor."""

    luck: Luck = Luck()
    capacity: float = 1.0
    panel: float = 1.0
    loss: float = 1.0


@dataclass(frozen=True, slots=True)
class _Tables:
    """Ah taken within an hour from each per cent, by class of warmth: sun or shore, and engine; and what the engine brings [A]."""

    still: tuple[tuple[float, ...], ...]
    engine: tuple[tuple[float, ...], ...]
    source_a: float


def make_tables(candidate: Candidate, luck: Luck) -> _Tables:
    """What a candidate's battery takes; candidate: the system; luck: what is not known."""
    still = tuple(tuple(candidate.capacity_ah * taken for taken in row) for row in taken_held(candidate.chemistry, luck))
    engine = _driving_ah(candidate.engine, candidate.chemistry, candidate.capacity_ah, luck) if candidate.engine.kind != "none" else still
    return _Tables(still, engine, paths.source_a(candidate.engine, luck))


@lru_cache(maxsize=400)
def taken_held(chemistry: Chemistry, luck: Luck, hours: float = 1.0) -> tuple[tuple[float, ...], ...]:
    """Taken from a charger that holds the absorption voltage by class of warmth and per cent of charge, of one ampere-hour of capacity.

    chemistry: of the battery; luck: what is not known; hours: how long [h].
    """
    hold_v = paths.absorption_v(chemistry)
    return tuple(tuple(paths.taken_in([paths.accepted_a(chemistry, 1.0, z, hold_v, 0.0, warm_c, luck) for z in CHARGES], 1.0, hours))
                 for warm_c in CLASSES_C)


@lru_cache(maxsize=1000)
def _driving_ah(engine: EnginePath, chemistry: Chemistry, capacity_ah: float, luck: Luck) -> tuple[tuple[float, ...], ...]:
    """Taken within an hour of driving [Ah].

    engine: relay or charger; chemistry, capacity_ah: of the battery [Ah]; luck: what is not known.
    """
    return tuple(tuple(paths.taken_in([paths.engine_a(engine, chemistry, capacity_ah, z, warm_c, luck) for z in CHARGES],
                                              capacity_ah)) for warm_c in CLASSES_C)


def make_rig(candidate: Candidate, chances: Chances) -> Rig:
    """A candidate as one life has it, in slots of an hour; candidate: the system; chances: what is not known."""
    lead, tables = candidate.lead_acid, make_tables(candidate, chances.luck)
    panel_ah = (candidate.panel_w * chances.panel * OTHER_LOSSES * (1.0 if candidate.tracking else PLAIN_CONTROLLER)
                * max(1 - AGE_PER_YEAR * candidate.panel_years, 0.3) / CHARGING_V)
    return Rig(limits_of(candidate.chemistry), candidate.capacity_ah * chances.capacity, candidate.reserve_frac, CUT_FRAC[lead], BACK_FRAC,
               1 - charge_loss.FRAC[candidate.chemistry] * chances.loss, 1 - SELF_PER_H[lead], panel_ah, tables.source_a,
               candidate.shore_a if candidate.shore_a is not None else SHORE_A, tables.still, tables.engine, lead_acid=lead)


def live(days: Sequence[LifeDay], candidate: Candidate, chances: Chances = Chances(),          # noqa: B008 - frozen
         keep_slots: bool = False) -> LifeResult:
    """Live the days of a trip with a candidate.

    days: as drawn, the first REST_DAYS not counted; candidate: the system; chances: what is not known; keep_slots: for what counts
    wear.
    """
    return life_engine.live(days, make_rig(candidate, chances), START_FRAC, REST_DAYS, keep_slots)
