"""What a person may answer, and what it means."""
import re
from dataclasses import dataclass
from typing import Any, Literal

from monitor.battery.chemistry_words import find_meant
from monitor.battery.label import CHEMISTRIES, BoardSupply
from monitor.commissioning import steps
from monitor.commissioning.steps import MeansThat, NotClear
from monitor.config.load import BOARD_A, BOARD_SIGMA_FRAC


def parse_label(text: str) -> tuple[str, float]:
    """Kind and ampere-hours of a label, as agm 100; the 12 V and the rate that stand beside them on a label are passed over.

    Raises
    ------
    MeansThat : another word for a kind, which is asked back
    NotClear : it is neither
    """
    plain = _BESIDE.sub(" ", _DECIMAL_COMMA.sub(r"\1.\2", text.lower()))
    words = [word for word in re.sub(r"[,;()/]|(?<=\d)ah\b|\bah\b", " ", _GLUED.sub(r"\1 ", plain)).split() if word not in ("a", "and")]
    kinds = [word for word in words if word in CHEMISTRIES]
    rest = [word for word in words if word not in CHEMISTRIES]
    numbers = [word for word in rest if word.lstrip("-")[:1].isdigit()]
    named = [word for word in rest if word not in numbers]
    meant = find_meant(named) if not kinds else None
    shown = f"{text.strip()[:30]!r}" if text.strip() else "it"
    if not kinds and meant is None and (other := [word for word in named if word in UNKNOWN_KINDS]):
        raise NotClear(f"{other[0]} is a kind that is not known here, with other voltages than {', '.join(CHEMISTRIES)}; its charge and "
                       "health cannot be worked out, and a wrong kind would give wrong figures")
    if (kinds or meant) and not numbers:
        kind = kinds[0] if kinds else meant[0] if meant else ""
        raise NotClear(f"{shown} says no ampere-hours; they stand on the label: write them too, as: {kind} 100")
    if numbers and not named and not kinds:
        raise NotClear(f"{shown} says no kind ({', '.join(CHEMISTRIES)}); write it too, as: agm {numbers[0][:6]}")
    if meant is not None and len(numbers) == 1:
        raise MeansThat(f"do you mean {meant[0]} ({meant[1]})", f"{meant[0]} {numbers[0]}")
    if len(kinds) != 1 or len(rest) != 1:
        raise NotClear(f"{shown} should be a kind ({', '.join(CHEMISTRIES)}) and ampere-hours, as: agm 100")
    capacity = steps.compare_reading(rest[0]).value
    if not 1 < capacity <= 2000:
        raise NotClear(f"{capacity:g} Ah is no battery of a vehicle; take the ampere-hours from the label")
    return kinds[0], capacity


#: What stands on a label beside kind and ampere-hours: 12 V, 12.8 V, C20, 20 h.
_BESIDE = re.compile(r"\b1[0-4](\.\d+)?\s*v(olts?)?\b|\bc\s*/?\s*\d+\b|\b\d+\s*h(rs?|ours?)?\b")
_DECIMAL_COMMA = re.compile(r"(\d),(\d)")
#: A kind and its ampere-hours without a space between.
_GLUED = re.compile(rf"\b({'|'.join(CHEMISTRIES)})(?=\d)")
#: Kinds that nothing here is true for.
UNKNOWN_KINDS = ("nmc", "nca", "lto", "lco", "lmo", "lipo", "li-po", "titanate", "sodium", "na-ion", "nickel", "nicd", "nimh", "zinc")


def parse_board(text: str) -> BoardSupply:
    """How the board is fed, as "through 0.25", "past 0.3" or "elsewhere"; Enter or skip: not known. Raises NotClear."""
    words = text.lower().replace(",", ".").split()
    if not words or words[0] in ("skip", "unknown"):
        return BoardSupply()
    if words[0].startswith("else"):
        return BoardSupply("elsewhere")
    kind: Literal["through_shunt", "past_shunt"] | None = (
        "through_shunt" if words[0].startswith("through") else "past_shunt" if words[0].startswith("past") else None)
    if kind is None:
        raise NotClear(f"{text[:30]!r} should be through, past or elsewhere, with amperes, as: through 0.25")
    amount = "".join(words[1:])
    if amount and not re.fullmatch(r"[-+]?[\d.]+(a|amps?|amperes?|w|watts?)?", amount):
        raise NotClear(f"{' '.join(words[1:])[:30]!r} after {words[0]} should be amperes, as: {words[0]} 0.25; what else is fitted comes "
                       "after a comma")
    amperes = steps.compare_reading(amount.rstrip("ampers wt")).value / (12.0 if "w" in amount else 1.0) if amount else BOARD_A
    if not 0 < amperes <= 5:
        raise NotClear(f"{amperes:g} A is no small board: it draws 0.1 to 1 A; watts over 12 are amperes")
    return BoardSupply(kind, amperes, BOARD_SIGMA_FRAC * amperes)


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is wired, as far as it was named: for the picture, and what joins the batteries. None: not named."""

    charging: Literal["isolator", "dc_dc"] | None = None
    solar_charger_count: int | None = None
    shore_charger: bool | None = None
    inverter: bool | None = None
    shunt_side: Literal["low", "high"] | None = None


def parse_board_and_fitted(text: str) -> tuple[BoardSupply, Fitted]:
    """How the board is fed, and after a comma what else is fitted: "through 0.25, dc-dc, solar 2, shore, inverter".

    Enter or skip: neither is known. Raises NotClear.
    """
    parts = [part.strip().lower() for part in _DECIMAL_COMMA.sub(r"\1.\2", text).replace(";", ",").split(",") if part.strip()]
    feed = [part for part in parts if part.split()[0].startswith(("through", "past", "else", "skip", "unknown"))]
    if len(feed) > 1:
        raise NotClear(f"{text[:40]!r} says twice how the board is fed; say through, past or elsewhere once")
    rest = [part for part in parts if part not in feed]
    if rest and not feed and not _parse_fitted(rest[0]):
        return parse_board(text), Fitted()      # says what is wrong with it
    found: dict[str, Any] = {}
    for part in rest:
        named = _parse_fitted(part)
        if not named:
            raise NotClear(f"{part[:30]!r} is none of: {', '.join(FITTED_WORDS)}; a comma between them, as: through 0.25, dc-dc, solar 2")
        if named.keys() & found.keys():
            raise NotClear(f"{part[:30]!r} contradicts what stands before it")
        found |= named
    return parse_board(feed[0] if feed else ""), Fitted(**found)


#: Words for what is fitted -> keys of the configuration.
FITTED_WORDS: dict[str, dict[str, Any]] = {
    "relay": {"charging": "isolator"}, "dc-dc": {"charging": "dc_dc"}, "solar": {"solar_charger_count": 1},
    "no solar": {"solar_charger_count": 0}, "shore": {"shore_charger": True}, "inverter": {"inverter": True},
    "shunt in positive": {"shunt_side": "high"},
}
MOST_SOLAR = 3      # that the picture has room for


def _parse_fitted(part: str) -> dict[str, Any]:
    """The keys that a word for what is fitted stands for; empty: it is none."""
    word = part.replace("dcdc", "dc-dc").replace("dc dc", "dc-dc")
    name, _, count = word.rpartition(" ")
    if name == "solar" and count.isdigit() and 0 <= int(count) <= MOST_SOLAR:
        return {"solar_charger_count": int(count)}
    return dict(FITTED_WORDS.get(word, {}))


def parse_go(text: str) -> bool:
    """Whether to measure now; skip leaves it out. Raises NotClear."""
    if text.lower() in ("", "y", "yes", "ok"):
        return True
    if text.lower() in ("s", "skip", "n", "no"):
        return False
    raise NotClear(f"{text[:20]!r} is neither Enter nor skip")


def parse_quantity(text: str) -> steps.Meter | None:
    """A multimeter's value, None where there is none. Raises NotClear."""
    return None if text.lower() in ("", "skip") else steps.compare_reading(text)
