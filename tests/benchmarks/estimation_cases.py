"""Written readings for the charge estimators alone: one figure after the other a little below and a little above what decides."""
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from tests.benchmarks.estimation_scenes import HOUR_S, Lives, _vehicle, told

Figure = float | None | Callable[[float], float]


@dataclass(frozen=True)
class Piece:
    """Readings for so many minutes: voltage, current, warmth, each steady or by minutes since the piece began; hidden as in Stretch."""

    minutes: float
    volts: Figure
    amps: Figure
    warm_c: Figure = 20.0
    hidden: str = ""
    step_s: float = 30.0


def _written(*pieces: Piece) -> Iterator[Any]:
    """The readings of some pieces, one after the other."""
    from monitor.sample import Sample

    at_s = 0.0
    for piece in pieces:
        for k in range(round(piece.minutes * 60.0 / piece.step_s)):
            volts, amps, warm_c = (figure(k * piece.step_s / 60.0) if callable(figure) else figure
                                   for figure in (piece.volts, piece.amps, piece.warm_c))
            at_s += piece.step_s
            if piece.hidden != "all":
                yield Sample(at_s, None if piece.hidden == "volts" else volts, None if piece.hidden == "amps" else amps,
                             house_temperature_c=warm_c, hour=at_s / HOUR_S % 24.0)


def cut_outs() -> Lives:
    """The protection of a lithium battery opens, or seems to, while it is charged and while it gives; and closes again."""
    usual = {"before": 6.0, "after": 0.0, "rise": 0.5, "silent": 0.0, "closed_v": 13.3, "closed_a": -3.0, "still_a": 0.0}
    for name, figure in (("", 0.0), ("before", 1.7), ("before", 2.3), ("after", 0.17), ("after", 0.23), ("rise", -0.017), ("rise", -0.023),
                         ("rise", -0.4), ("silent", 4.0), ("silent", 6.0), ("still_a", -0.35), ("still_a", -0.45), ("closed_v", 13.6)):
        now = usual | ({name: figure} if name else {})
        yield f"charged, {name} {figure}", _vehicle("lfp"), _written(
            Piece(20, 13.85, now["before"]), Piece(now["silent"], 0.0, 0.0, hidden="all"), Piece(40, 13.85 + now["rise"], now["after"]),
            Piece(30, 13.75, now["still_a"]), Piece(60, now["closed_v"], now["closed_a"]))
    for volts, amps in ((0.3, 0.0), (7.0, 0.0), (9.0, 0.0), (0.3, -0.17), (0.3, -0.23)):
        yield f"gives, {volts} V {amps} A", _vehicle("lfp"), _written(Piece(20, 12.9, -6.0), Piece(40, volts, amps), Piece(60, 13.1, -2.0))


def changes() -> Lives:
    """Loads that stay for some minutes, more or less steadily, and go."""
    for stays, load_a, scatter_a in ((2.5, 8.0, 0.0), (3.5, 8.0, 0.0), (6.0, 4.5, 0.0), (6.0, 5.5, 0.0), (6.0, 8.0, 1.7), (6.0, 8.0, 2.4)):
        def amps(minute: float, stays: float = stays, load_a: float = load_a, scatter_a: float = scatter_a) -> float:
            return -0.3 - (load_a if int(minute / stays) % 2 else 0.0) - (scatter_a if int(minute) % 2 else 0.0)

        yield f"{load_a} A for {stays} min, within {scatter_a} A", _vehicle("lfp"), _written(
            Piece(150, lambda minute, amps=amps: 13.22 + 0.012 * amps(minute), amps))
    for gaps_s in ((400.0, 500.0), (400.0, 550.0), (400.0, 620.0), (2880.0, 2880.0), (4320.0, 4320.0)):
        yield f"readings {gaps_s} s apart", _vehicle("lfp"), _written(
            Piece(120, 13.25, -2.0), *[Piece(gaps_s[k % 2] / 60.0, 13.24, -2.0, step_s=gaps_s[k % 2]) for k in range(12)])
    yield "a minute with a voltage in twenty", _vehicle("lfp"), _written(Piece(60, 13.25, -2.0), *[
        Piece(minutes, 13.24, -2.0, hidden=hidden) for _ in range(10) for minutes, hidden in ((19.0, "volts"), (1.0, ""))])
    yield "warmed and cooled", _vehicle("lfp"), _written(Piece(300, 13.24, -3.0, lambda minute: 20.0 - 0.1 * minute),
                                                         Piece(240, 13.5, 6.0, lambda minute: -10.0 + 0.2 * minute))


def unexplained() -> Lives:
    """Lithium at a voltage that hardly fits: charge flowed that nobody saw, more or less of it; a current that runs out at full."""
    for k in range(1, 13):
        yield f"{0.025 * k:.3f} V lower", _vehicle("lfp"), _written(Piece(200, 13.32, -1.0), Piece(100, 13.32 - 0.025 * k, -1.0))
    for amps in (-0.042, -0.06, -0.2):
        yield f"full, {amps} A", _vehicle("lfp"), _written(Piece(60, 13.5, 8.0), Piece(60, 13.8, amps), Piece(60, 13.3, -2.0))




def resistances() -> Lives:
    """Loads that come and go every few minutes while resistance grows by little or much; never less than nothing."""
    for chemistry, times in (("agm", 1.0), ("agm", 2.0), ("agm", 4.0), ("lfp", 3.0)):
        for ohm in (0.008, 0.0004):
            def amps(minute: float) -> float:
                return -0.3 - (5.0 if int(minute / 3.0) % 2 else 0.0)

            rest_v = 12.6 if chemistry == "agm" else 13.2
            yield f"{chemistry}, {ohm} ohm times {times}", _vehicle(chemistry), _written(
                Piece(200, lambda minute, amps=amps, v=rest_v, ohm=ohm: v + ohm * amps(minute), amps),
                Piece(240, lambda minute, amps=amps, v=rest_v, ohm=ohm, times=times: v + times * ohm * amps(minute), amps))


def wired() -> Lives:
    """A shunt that is wired backwards for a day, and put right."""
    def amps(minute: float) -> float:
        return -0.3 - (5.0 if int(minute / 6.0) % 2 else 0.0)

    for minutes in (70.0, 400.0):
        yield f"for {minutes} min", _vehicle("agm"), _written(
            Piece(minutes, lambda minute: 12.5 + 0.01 * amps(minute), lambda minute: -amps(minute)),
            Piece(300, lambda minute: 12.5 + 0.01 * amps(minute), amps))


def nearly_empty() -> Lives:
    """Lead-acid far down under next to no load, or a trickle that comes in; drawn slowly after it was full."""
    for amps in (0.1, 0.17, 0.23, -1.2, -1.7):
        for volts in (10.9, 11.15):
            yield f"{volts} V at {amps} A", _vehicle("agm"), _written(Piece(60, 12.2, -3.0), Piece(60, volts, amps), Piece(60, 12.0, -0.5))
    yield "counted far below empty", _vehicle("agm"), _written(
        Piece(60, 12.6, -3.0), Piece(1500, 0.0, -5.0, hidden="volts"), Piece(120, 12.0, -3.0))


def held_low() -> Lives:
    """A charger holds a lithium battery at a low voltage until its current has run out, or something like it."""
    usual = {"volts": 13.55, "most": 10.0, "least": 0.4, "wobble": 0.0, "jump": 0.0, "falls": 16.0}
    for name, figure in (("", 0.0), ("volts", 13.4), ("volts", 13.62), ("most", 1.7), ("most", 2.4), ("least", 0.85), ("least", 1.2),
                         ("wobble", 0.021), ("wobble", 0.03), ("jump", 0.35), ("jump", 0.46), ("falls", 4.0), ("falls", 30.0)):
        now = usual | ({name: figure} if name else {})
        yield f"{name} {figure}", _vehicle("lfp"), _written(Piece(10, 13.2, -2.0), _held(**now), Piece(40, 13.25, -2.0))
    for least in (0.62, 0.78, 1.0):
        yield f"down to {least} A of 2.8", _vehicle("lfp"), _written(
            Piece(10, 13.2, -2.0), _held(**usual | {"most": 2.8, "least": least}), Piece(40, 13.25, -2.0))


def _held(volts: float, most: float, least: float, wobble: float, jump: float, falls: float) -> Piece:
    """Current that falls from most to least [A] in so many minutes; half-way through what is left of it, it jumps."""
    return Piece(85.0, lambda minute: volts + (wobble if int(minute) % 2 else 0.0),
                 lambda minute: max(most - (most - least) * minute / falls, least) + jump * (minute > 50.0))


def ends() -> Lives:
    """Lithium nearly empty; from one end to the other again and again; slowly down from full."""
    full = Piece(50, 14.2, 0.3)
    for volts in (12.45, 12.4, 12.37, 12.34, 12.3, 11.8, 11.4, 10.9, 10.5):
        yield f"down to {volts} V", _vehicle("lfp"), _written(Piece(30, 12.8, -3.0), Piece(60, volts, -3.0), Piece(20, 12.9, 0.0))
    yield "nearly empty in the heat", _vehicle("lfp"), _written(Piece(60, 12.7, -0.2, 35.0), Piece(150, 12.48, -0.2, 35.0))
    yield "full in the cold", _vehicle("lfp"), _written(Piece(60, 13.5, 8.0, -8.0), Piece(50, 14.2, 0.3, -8.0), Piece(60, 13.3, -3.0, -8.0))
    yield "held high while a little flows out", _vehicle("lfp"), _written(full, Piece(270, 13.75, -0.15, step_s=60.0))
    flat, silent = Piece(90, 13.24, -2.0), Piece(360, 0.0, 0.0, hidden="all")
    empty = Piece(50, 11.6, -2.0)
    yield "there and back", _vehicle("lfp"), _written(*[piece for k in range(5) for piece in ((full, empty)[k % 2], silent, flat)])
    yield "slowly down", _vehicle("lfp"), _written(full, Piece(960, 13.31, -1.5, step_s=60.0), Piece(240, 13.14, -1.5, step_s=60.0))


def descents() -> Lives:
    """Lithium drawn from full across graphite's step, steeply or not, quickly or slowly, or where no voltage is read."""
    full = Piece(50, 14.2, 0.3)
    for name, load_a, begins_ah, wide_ah, hole_ah in (
            ("plainly", 4.0, 22.0, 4.0, 0.0), ("quickly", 27.0, 20.0, 4.0, 0.0),
            ("quickly, later", 27.0, 23.0, 4.0, 0.0), ("over 22 Ah", 4.0, 20.0, 22.0, 0.0),
            ("over 28 Ah", 4.0, 20.0, 28.0, 0.0), ("over 34 Ah", 4.0, 20.0, 34.0, 0.0), ("silent for 5 Ah", 4.0, 22.0, 4.0, 5.0),
            ("silent for 7 Ah", 4.0, 22.0, 4.0, 7.0), ("silent for 9 Ah", 4.0, 22.0, 4.0, 9.0)):
        def volts(minute: float, load_a: float = load_a, begins_ah: float = begins_ah, wide_ah: float = wide_ah) -> float:
            fallen = min(max((load_a * minute / 60.0 - begins_ah) / wide_ah, 0.0), 1.0)
            return 13.32 - 0.17 * fallen - 0.004 * load_a

        minutes, hole = 2700.0 / load_a, 60.0 * hole_ah / load_a
        first = 60.0 * (begins_ah - 1.0) / load_a if hole else minutes
        yield name, _vehicle("lfp"), _written(
            full, Piece(first, volts, -load_a), Piece(hole, 0.0, -load_a, hidden="volts"),
            Piece(minutes - first - hole + 1.0, lambda minute, volts=volts, gone=first + hole: volts(minute + gone), -load_a))


def _pulses(load_a: float, minutes: float = 1.0) -> Callable[[float], float]:
    """A load that is on every other minute, or every other few."""
    return lambda minute: -0.3 - (load_a if int(minute / minutes) % 2 else 0.0)


def growths() -> Lives:
    """Lead-acid drawn from full by loads that come and go while its resistance grows late or early, in the cold; or read now and then."""
    for name, load_a, late, minutes, colder_k in (("early", 12.0, 1.0, 900, 0.0), ("late", 12.0, 4.0, 840, 0.0),
                                                  ("in the cold", 12.0, 2.0, 800, 18.0),
                                                  ("slowly", 4.4, 2.0, 1500, 0.0), ("deep", 12.0, 3.0, 1080, 0.0)):
        amps = _pulses(load_a)

        def volts(minute: float, load_a: float = load_a, late: float = late, amps: Callable[[float], float] = amps) -> float:
            drawn = min(minute * (0.3 + load_a / 2.0) / 6000.0, 0.99)
            return 12.9 - 1.2 * drawn + 0.006 * (1.0 + 1.2 * drawn**late / (1.08 - drawn)) * amps(minute)

        yield name, _vehicle("agm"), _written(*FULL, Piece(
            minutes, volts, amps, lambda minute, colder_k=colder_k, minutes=minutes: 22.0 - colder_k * minute / minutes))
    for places, deepest, times in ((2, 0.36, 3.0), (3, 0.36, 3.0), (4, 0.36, 3.0), (3, 0.5, 8.0), (4, 0.5, 8.0)):
        pieces = []
        for k in range(places):
            depth = deepest * k / (places - 1)
            ohm = 0.006 * (1.0 + times * depth**2)
            amps = _pulses(4.4)
            pieces += [Piece(40, lambda minute, v=12.9 - 1.2 * depth, ohm=ohm, amps=amps: v + ohm * amps(minute), amps),
                       Piece(600.0 * deepest / (places - 1), 12.8 - 1.2 * depth, -10.0)]
        yield f"at {places} depths down to {deepest}", _vehicle("agm"), _written(*FULL, *pieces)


def changed() -> Lives:
    """Another battery after an interruption, or the same one: each figure that decides a little below and above."""
    usual = {"before": 300.0, "silent": 20.0, "volts": 12.5, "ohm": 0.02, "load": 5.0, "warm": 20.0, "still": 0.0, "hidden": 0.0,
             "gone": 0.0, "old_ohm": 0.01, "scatter": 0.0}
    for chemistry in ("agm", "lfp"):
        for name, figure in (
                ("", 0.0), ("before", 10.0), ("before", 15.0), ("before", 900.0), ("silent", 1.6), ("silent", 2.4), ("silent", 100.0),
                ("silent", 145.0), ("volts", 12.1), ("volts", 12.555), ("volts", 12.54), ("ohm", 0.0165), ("ohm", 0.017), ("ohm", 0.0175),
                ("ohm", 0.018), ("ohm", 0.0185), ("scatter", 0.15), ("scatter", 0.18), ("scatter", 0.21), ("ohm", 0.005), ("ohm", 0.0002),
                ("load", 1.3), ("load", 1.8), ("warm", 0.0), ("still", 2.6), ("still", 3.4), ("hidden", 1.0), ("gone", 5.0),
                ("gone", 7.0), ("old_ohm", 0.00018), ("old_ohm", 0.00023)):
            if chemistry == "agm" or name in ("", "volts", "warm"):
                now = usual | ({name: figure} if name else {})
                if name in ("still", "gone", "hidden", "load", "before"):
                    now["silent"] = 5.0
                yield f"{chemistry}, {name} {figure}", _vehicle(chemistry), _exchanged(now, 0.0 if chemistry == "agm" else 0.7)
    for k in range(8):
        yield f"jumps by {0.163 + 0.0015 * k:.4f} V", _vehicle("agm"), _written(
            Piece(30, 12.5, -5.0), Piece(5, 0.0, 0.0, hidden="all"), Piece(15, 12.337 - 0.0015 * k, -5.0))
    yield "less resistance and a small jump", _vehicle("agm"), _exchanged(
        usual | {"silent": 5.0, "volts": 12.765, "ohm": 0.007}, 0.0)
    for load_a in (5.0, 7.0):
        yield f"jumps to 12.2 V under {load_a} A", _vehicle("agm"), _written(
            Piece(120, 12.5, -load_a), Piece(5, 0.0, 0.0, hidden="all"), Piece(60, 12.2, -load_a))


def _exchanged(now: dict[str, float], higher_v: float) -> Iterator[Any]:
    """Loads that come and go, a silence (or a voltage of none, or days on which nothing changes), and the same on what is there then."""
    amps = _pulses(now["load"])
    rest_v, ohm, old_ohm, scatter = now["volts"] + higher_v, now["ohm"], now["old_ohm"], now["scatter"]
    warm_c = None if now["hidden"] else now["warm"]
    gap = Piece(now["silent"], now["gone"], 3.0, None if now["hidden"] else 20.0, "" if now["gone"] else "all")
    return _written(
        Piece(now["before"] + 1.0, lambda minute: 12.6 + higher_v + old_ohm * amps(minute), amps, None if now["hidden"] else 20.0), gap,
        Piece(1440.0 * now["still"], rest_v, -0.3, step_s=60.0), Piece(
            120, lambda minute: rest_v + ohm * amps(minute) * (1.0 + (scatter if int(minute / 2.0) % 2 else -scatter)), amps, warm_c))


#: A lead-acid battery becomes full, and stands for an hour.
FULL = (Piece(60, 14.4, 3.0), Piece(300, 14.4, 0.3), Piece(60, 13.0, -0.3))


def after_full() -> Lives:
    """Lead-acid full, then silent for a while, left alone, or drawn by loads after a silence that leaves the count in doubt."""
    for minutes in (12.0, 18.0, 25.0, 35.0, 50.0, 600.0):
        for volts in (12.9, 13.1):
            yield f"silent for {minutes} min, then {volts} V", _vehicle("agm"), _written(
                *FULL, Piece(minutes, 0.0, 0.0, hidden="all"), Piece(60, volts, -0.3))
    yield "nothing for days", _vehicle("agm"), _written(*FULL, Piece(10000, 12.95, -0.05, step_s=120.0))
    yield "left alone", _vehicle("agm"), _written(*FULL[:2], Piece(420, 12.98, 0.0))
    for minutes in (50.0, 80.0, 110.0):
        amps = _pulses(8.4)

        def volts(minute: float, amps: Callable[[float], float] = amps) -> float:
            return 12.75 - 0.0009 * minute + 0.008 * (1.0 + 1.2e-6 * minute * minute) * amps(minute)

        yield f"drawn, silent for {minutes} min, drawn", _vehicle("agm"), _written(
            *FULL, Piece(60, volts, amps), Piece(minutes, 0.0, 0.0, hidden="all"), Piece(700, volts, amps))


def brief() -> Lives:
    """Lead-acid of which a voltage is read for a minute or two after a silence, and then none."""
    for minutes in (8.0, 11.5, 14.0, 30.0):
        pieces = [Piece(minutes, 0.0, 0.0, hidden="all"), Piece(2, 12.5, -3.0), Piece(30, 0.0, -1.0, hidden="volts")]
        yield f"silent for {minutes} min", _vehicle("agm"), _written(Piece(40, 12.7, -1.0), *4 * pieces)


def jumps() -> Lives:
    """Lead-acid whose voltage after a silence, short or long, is off by little or much."""
    for minutes in (7.5, 10.5, 40.0, 100.0):
        for fallen_v in (0.15, 0.2, 0.25, 0.3, 0.5, 0.9, 1.3):
            yield f"by {fallen_v} V in {minutes} min", _vehicle("agm"), _written(
                Piece(150, 12.75, -1.0), Piece(minutes, 0.0, 0.0, hidden="all"), Piece(50, 12.75 - fallen_v, -1.0))
    yield "far after it was known well", _vehicle("agm"), _written(
        *FULL, Piece(201, 12.75, -4.0), Piece(100, 0.0, 0.0, hidden="all"), Piece(60, 12.0, -4.0))


def odd() -> Lives:
    """Voltages of another kind: at currents small and large, with silences in between; steps no battery makes."""
    for amps in (-3.0, -14.0, -20.0):
        yield f"13.15 V at {amps} A", _vehicle("agm"), _written(Piece(-60.0 * 25.0 / amps, 13.15, amps))
    for minutes in (8.0, 11.5, 14.5):
        yield f"silent for {minutes} min", _vehicle("agm"), _written(
            Piece(200, 13.15, -3.0), Piece(minutes, 0.0, 0.0, hidden="all"), Piece(200, 13.15, -3.0))
    for ohm in (0.1, 0.14):
        amps = _pulses(3.0)
        yield f"backwards, {ohm} ohm", _vehicle("agm"), _written(
            Piece(60, lambda minute, amps=amps, ohm=ohm: 12.6 - ohm * amps(minute), amps))


SCENES: dict[str, Callable[[], Iterator[tuple[str, str]]]] = {name: partial(told, name, lives) for name, lives in {
    "cut-outs": cut_outs, "changes": changes, "unexplained": unexplained, "resistances": resistances, "wired": wired,
    "nearly empty": nearly_empty, "held low": held_low, "ends": ends, "descents": descents, "growths": growths, "changed": changed,
    "after full": after_full, "brief": brief, "odd": odd, "jumps": jumps}.items()}
