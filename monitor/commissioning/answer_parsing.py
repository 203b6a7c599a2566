"""What a person may answer, and what it means."""
import re
from dataclasses import dataclass
from typing import Any, Literal

from monitor.battery.label import CHEMISTRIES, BoardSupply
from monitor.commissioning import steps
from monitor.commissioning.chemistry_words import find_meant
from monitor.commissioning.steps import MeansThat, NotClear
from monitor.config.load import BOARD_A, BOARD_SIGMA_FRAC


def parse_label(text: str) -> tuple[str, float]:
    """Kind and ampere-hours of a label, as agm 100.

    Raises
    ------
    MeansThat : another word for a kind, which is asked back
    NotClear : it is neither
    """
    words = text.lower().replace(",", " ").replace("ah", " ").replace("(", " ").replace(")", " ").split()
    kinds = [word for word in words if word in CHEMISTRIES]
    rest = [word for word in words if word not in CHEMISTRIES]
    meant = find_meant(rest) if not kinds else None
    numbers = [word for word in rest if word[:1].isdigit()]
    if meant is not None and len(numbers) == 1:
        raise MeansThat(f"do you mean {meant[0]} ({meant[1]})", f"{meant[0]} {numbers[0]}")
    if len(kinds) != 1 or len(rest) != 1:
        raise NotClear((f"{text[:30]!r}" if text else "it") + f" should be a kind ({', '.join(CHEMISTRIES)}) and ampere-hours, as: agm 100")
    capacity = steps.compare_reading(rest[0]).value
    if not 1 < capacity <= 2000:
        raise NotClear(f"{capacity:g} Ah is no battery of a vehicle; take the ampere-hours from the label")
    return kinds[0], capacity


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
    amperes = steps.compare_reading(words[-1]).value if len(words) > 1 and words[-1][:1].isdigit() else BOARD_A
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
    if rest and not feed and not _named(rest[0]):
        return parse_board(text), Fitted()      # says what is wrong with it
    found: dict[str, Any] = {}
    for part in rest:
        named = _named(part)
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
_DECIMAL_COMMA = re.compile(r"(\d),(\d)")


def _named(part: str) -> dict[str, Any]:
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
