"""Size and rating codes on batteries: JIS, SBA, EN, BCI, the nine-digit European type number; read part by part.

Codes are those of standards; the tables with their sources are in labels.toml. Makers' own numbers are not codes and are not read.
"""
import re
from dataclasses import dataclass
from difflib import get_close_matches

from monitor.parameters import table
from monitor.planning.labels_ratings import TABLES, Span, cranking_from_rank, exactly

LEFT, RIGHT = "left", "right"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a code or label: as it stands there, and what it says."""

    text: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Size:
    """The box, or the largest of its group [mm]; doubt_mm: what it may be off."""

    length_mm: float
    width_mm: float
    height_mm: float
    doubt_mm: float
    with_posts: bool


@dataclass(frozen=True, slots=True)
class Code:
    """A code that was understood.

    cranking_a by `norm`; reserve_min and cranking_a are ranges where the code gives only their product; plus: on which side it is,
    as `seen`; basis: how well the table behind it is known.
    """

    standard: str
    text: str
    parts: tuple[Part, ...]
    basis: str
    size: Size | None = None
    plus: str = ""
    seen: str = ""
    posts: str = ""
    capacity_ah: float | None = None
    voltage_v: float = 12.0
    cranking_a: Span | None = None
    norm: str = ""
    reserve_min: Span | None = None


FROM_SHORT_SIDE = "seen from the short side that is nearer to the plus post"
POSTS_NEAR = "with the posts on the side nearest to you"


def read_code(text: str) -> Code | None:
    """A code of any family this program knows, or None.

    >>> [part.text for part in read_code("55B24R").parts]
    ['55', 'B', '24', 'R']
    """
    plain = re.sub(r"\s+", "", text.upper()).strip(".,;:()")
    for read in (_jis, _sba, _etn, _heavy, _en, _bci):
        if (found := read(plain)) is not None:
            return found
    return None


def known_codes() -> list[str]:
    """Codes to compare an unknown one with: one of each size."""
    jis = [f"55{letter}{length}{side}" for letter in "BDE" for length in _LENGTHS[letter] for side in "LR"]
    jis += ["145F51", "195G51", "245H52"]
    sba = [f"{letter}-85{side}" for letter in TABLES["sba"] if len(letter) == 1 for side in ("", "R")]
    en = [f"{kind}{n}" for n in range(7) for kind in ("L", "LN")] + [f"LB{n}" for n in range(1, 6)]
    return [*jis, *sba, *en, *(f"GROUP{g}" for g in TABLES["bci"] if g not in ("source", "basis")), *BCI_SAME, *HEAVY]


def nearest(text: str) -> str:
    """The known code that looks most like an unknown one; "" where none does."""
    plain = re.sub(r"\s+", "", text.upper())
    jis = re.fullmatch(r"(\d{2,3})([A-Z])(\d{1,3})([A-Z]?)", plain)
    if jis and jis[2] in _JIS_LETTERS:
        lengths = sorted({int(code[1:]) for code in _SIZES_JIS if code[0] == jis[2]}, key=lambda n: abs(n - int(jis[3])))
        if lengths:
            return f"{jis[1]}{jis[2]}{lengths[0]}{jis[4] if jis[4] in ('L', 'R') else ''}"
    found = get_close_matches(plain, known_codes(), n=1, cutoff=0.6)
    return found[0].replace("GROUP", "Group ") if found else ""


HEAVY = {name: row for name, row in TABLES["heavy"].items() if isinstance(row, list)}
BCI_SAME = {name: row for name, row in TABLES["bci_same"].items() if name not in ("source", "basis")}
_JIS_LETTERS = {name: row for name, row in TABLES["jis"].items() if len(name) == 1}
_SIZES_JIS: set[str] = {name for key, name in TABLES["sba"].items() if len(key) == 1}
_LENGTHS_B_CM = table("planning", "labels_codes").numbers("lengths_b_cm")
#: Lengths that boxes of a letter come in [cm]: those of the standard's sizes, and one more of B.
_LENGTHS = {letter: sorted({int(code[1:]) for code in _SIZES_JIS if code[0] == letter} | (set(_LENGTHS_B_CM) if letter == "B" else set()))
            for letter in _JIS_LETTERS}


def _jis_size(letter: str, length_cm: int) -> Size:
    width, height = _JIS_LETTERS[letter]
    return Size(10.0 * length_cm, width, height, 5.0, with_posts=False)


def _jis(text: str) -> Code | None:
    found = re.fullmatch(r"(\d{2,3})([A-H])(\d{2})([LR]?)", text)
    if not found:
        return None
    rank, letter, length, side = int(found[1]), found[2], int(found[3]), found[4]
    if _LENGTHS[letter] and length not in _LENGTHS[letter]:
        return None
    cranking, reserve = cranking_from_rank(rank)
    width, height = _JIS_LETTERS[letter]
    thin = letter in TABLES["jis"]["thin_posts"]
    parts = [Part(found[1], f"performance rank: cold-cranking amperes times reserve minutes are about {(2.8 * rank) ** 2:.0f}. It is not "
                            f"a capacity in Ah (in the standard before 2006 it was)"),
             Part(letter, f"box {width:g} mm wide and {height:g} mm high without posts, "
                          f"{'thin' if thin else 'thick'} posts"),
             Part(found[3], f"about {length} cm long")]
    if side:
        parts.append(Part(side, f"plus is on the {LEFT if side == 'L' else RIGHT}, {FROM_SHORT_SIDE}"))
    return Code("JIS D 5301", text, tuple(parts), TABLES["jis"]["basis"], _jis_size(letter, length),
                {"L": LEFT, "R": RIGHT, "": ""}[side], FROM_SHORT_SIDE if side else "", TABLES["posts"]["thin" if thin else "thick"],
                cranking_a=cranking, norm="JIS", reserve_min=reserve)


def _sba(text: str) -> Code | None:
    found = re.fullmatch(r"([A-Z])-?(\d{2,3})([LR]?)", text)
    if not found or found[1] not in TABLES["sba"] or "-" not in text and found[1] in "LHDT":
        return None
    size, rank, side = TABLES["sba"][found[1]], int(found[2]), found[3] or "L"
    if rank < 30:
        return None
    cranking, reserve = cranking_from_rank(rank)
    thin = size[0] in TABLES["jis"]["thin_posts"]
    parts = (Part(found[1], f"start-stop battery of the JIS size {size}"),
             Part(found[2], "performance rank, as in JIS; it is not a capacity in Ah"),
             Part(found[3] or "no letter", f"plus is on the {LEFT if side == 'L' else RIGHT}, {FROM_SHORT_SIDE}"))
    return Code("SBA S 0101", text, parts, TABLES["sba"]["basis"], _jis_size(size[0], int(size[1:])), LEFT if side == "L" else RIGHT,
                FROM_SHORT_SIDE, TABLES["posts"]["thin" if thin else "thick"], cranking_a=cranking, norm="JIS", reserve_min=reserve)


def _etn(text: str) -> Code | None:
    found = re.fullmatch(r"([1-7])(\d\d)[-.]?(\d\d\d)[-.]?(\d\d\d)", text)
    if not found or found[1] in "34":
        return None
    volts = 6.0 if found[1] in "12" else 12.0
    capacity = int(found[2]) + {"6": 100, "7": 200, "2": 100}.get(found[1], 0)
    amperes = 10.0 * int(found[4])
    if not capacity or not amperes:
        return None
    more = {"6": ", and 100 Ah more", "7": ", and 200 Ah more", "2": ", and 100 Ah more"}.get(found[1], "")
    parts = (Part(found[1], f"{volts:g} V{more}"),
             Part(found[2], f"{capacity} Ah over 20 hours"),
             Part(found[3], "running number: posts, hold-down and box; its register is closed, so it tells nothing here"),
             Part(found[4], f"{amperes:g} A cold-cranking by EN"))
    return Code("European type number", text, parts, TABLES["etn"]["basis"], capacity_ah=float(capacity), voltage_v=volts,
                cranking_a=exactly(amperes), norm="EN")


def _en(text: str) -> Code | None:
    found = re.fullmatch(r"(L|LN|LB|LBN)([0-6])", text)
    if not found:
        return None
    table, number, low = TABLES["en"], int(found[2]), found[1].startswith("LB")
    if low and not 1 <= number <= 5:
        return None
    height, length = table["low_mm" if low else "high_mm"], table["lengths_mm"][number]
    parts = (Part(found[1], f"{table['width_mm']} mm wide, {height} mm high"), Part(found[2], f"{length} mm long"))
    return Code("EN 50342-2", text, parts, table["basis"], Size(length, table["width_mm"], height, 2.0, with_posts=True),
                posts=TABLES["posts"]["thick"])


def _heavy(text: str) -> Code | None:
    if text not in HEAVY:
        return None
    length, width, height = HEAVY[text]
    return Code("EN 50342-4", text, (Part(text, f"heavy-vehicle box, {length} x {width} x {height} mm"),), TABLES["heavy"]["basis"],
                Size(length, width, height, 5.0, with_posts=True), posts=TABLES["posts"]["thick"])


def _bci(text: str) -> Code | None:
    found = re.fullmatch(r"(?:BCI|GROUP|GRP|GR|BCIGROUP)?-?(\d{1,3}|4D|8D|U1|H[5-8])([FRTM]?)(?:DT)?", text)
    if not found or text.isdigit():
        return None
    name = str(BCI_SAME.get(found[1], found[1]))
    row = TABLES["bci"].get(name + found[2]) or TABLES["bci"].get(name) or TABLES["bci"].get(name + "R")
    if not isinstance(row, list):
        return None
    parts = [Part(found[1], f"group {name}: at most {row[0]} x {row[1]} x {row[2]} mm")]
    letters = {"R": "plus is on the other side than in the group without the letter", "F": "plus is on the other side than in the group "
               "without the letter, other hold-down", "T": "posts on top", "M": "marine: studs beside the posts"}
    if found[2]:
        parts.append(Part(found[2], letters[found[2]]))
    basis = "reprint" if name == "31" else TABLES["bci"]["basis"]
    return Code("BCI group", text, tuple(parts), basis, Size(row[0], row[1], row[2], 3.0, with_posts=True))
