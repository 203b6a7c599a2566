"""A set-up living the life of a log: its quarter hours as days, and what stands in the vehicle as a rig of the one engine."""
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.battery import charge_loss
from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.planning import life_engine
from monitor.planning.charging_paths import DCDC_SHARE, Luck
from monitor.planning.life_engine import LifeDay, LifeResult, Rig
from monitor.planning.load_profile import SLOT_H, Slot, split_days
from monitor.planning.trip_life import SELF_PER_H, taken_held


@dataclass(frozen=True, slots=True)
class Setup:
    """A battery with the panel and the charging around it."""

    name: str
    chemistry: Chemistry
    capacity_ah: float
    reserve_frac: float = 0.5
    sun_ratio: float = 1.0                  # panel against the one of the log
    solar_limit_a: float | None = None      # of the solar charger
    engine_limit_a: float | None = None     # of a DC-DC charger; None: what the log's alternator gave
    load_ratio: float = 1.0                 # a thriftier fridge: below 1
    charge_loss_frac: float | None = None   # None: the usual of its construction

    @property
    def lead_acid(self) -> bool:
        return self.chemistry != "lfp"


def as_days(slots: Sequence[Slot], driven: bool, least_a: float = 1e9, refill_ratio: float = 1.0,
            sure: bool = False) -> list[LifeDay]:
    """The life of a log as the engine lives it.

    slots: its quarter hours; driven: whether the engine gives what the rig says while it runs, instead of what the log shows; least_a:
    with driven, what the log shows beyond so much is given besides [A]; refill_ratio: refilled sun, over what the slots say; sure: for the
    battery of the log, which took what it was seen to take.
    """
    found = []
    for day in split_days(slots):
        by_rig = [driven and s.engine_on for s in day]
        found.append(LifeDay(
            [(s.sun_a + (refill_ratio - 1) * s.refilled_a) * SLOT_H for s in day], [s.load_a * SLOT_H for s in day],
            [s.prevented_a * SLOT_H for s in day],
            [1.0 if mine else 0.0 for mine in by_rig],
            [(max(s.engine_a - least_a, 0.0) if mine else s.engine_a) * SLOT_H for s, mine in zip(day, by_rig, strict=True)],
            20.0, sum(s.temperature_c for s in day) / len(day), 0, next((k for k, s in enumerate(day) if s.hour >= 12), len(day)),
            [0.0 if s.refilled_a else (s.sun_a + s.engine_a - s.load_a) * SLOT_H for s in day] if sure else []))
    return found


def make_rig(setup: Setup, engine_peak_a: float = 0.0, serves_from_frac: float | None = None, luck: Luck = Luck(),  # noqa: B008
             prevented_ratio: float = 1.0, beyond_frac: float = 0.0) -> Rig:
    """A set-up as one life of a log has it, in quarter hours.

    setup: battery, panel and chargers; engine_peak_a: what the engine gives without a DC-DC charger [A]; serves_from_frac: charge below
    which loads go off, 0 to 1, None: what was prevented stays so; luck: what is not known; prevented_ratio: what was prevented, over
    what the days say; beyond_frac: part of its capacity that it gives beyond rated empty.
    """
    loss = setup.charge_loss_frac if setup.charge_loss_frac is not None else charge_loss.FRAC[setup.chemistry]
    engine_a = engine_peak_a if setup.engine_limit_a is None else setup.engine_limit_a * DCDC_SHARE
    still = tuple(tuple(setup.capacity_ah * ah for ah in row) for row in taken_held(setup.chemistry, luck, SLOT_H))
    return Rig(limits_of(setup.chemistry), setup.capacity_ah, setup.reserve_frac,
               float("inf") if serves_from_frac is None else serves_from_frac, 0.0, 1 - loss, (1 - SELF_PER_H[setup.lead_acid]) ** SLOT_H,
               setup.sun_ratio, engine_a * SLOT_H, 1.0, still, still,
               float("inf") if setup.solar_limit_a is None else setup.solar_limit_a * SLOT_H, setup.load_ratio,
               setup.load_ratio * prevented_ratio, setup.lead_acid, follows_warmth=False, beyond_frac=beyond_frac)


def simulate(slots: Sequence[Slot], setup: Setup, start_frac: float, engine_peak_a: float = 0.0, keep_slots: bool = False,
             serves_from_frac: float | None = None) -> LifeResult:
    """A log's life with a set-up.

    Nights are counted from noon to noon; one is below when the charge falls under the reserve in it. While the engine runs, the
    battery takes what the log shows, or, where the set-up has a DC-DC charger or engine_peak_a is given, up to that.

    slots: quarter hours of the log; setup: battery, panel and chargers; start_frac: charge at the start, 0 to 1; engine_peak_a: the
    most the engine gives [A], 0: only what the log shows; keep_slots: whether every quarter hour is kept; serves_from_frac: charge
    below which loads go off, 0 to 1.
    """
    days = as_days(slots, bool(engine_peak_a) or setup.engine_limit_a is not None)
    return life_engine.live(days, make_rig(setup, engine_peak_a, serves_from_frac), start_frac, keep_slots=keep_slots)
