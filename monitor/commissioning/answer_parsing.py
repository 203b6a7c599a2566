"""What a person may answer, and what it means."""
from typing import Literal

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
