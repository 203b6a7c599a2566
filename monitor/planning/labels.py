"""The label of a battery in a shop, read part by part: what it is, what it holds, what it gives in the cold, its size and posts."""
import re
from dataclasses import dataclass, field, replace

from monitor.battery.label import KIND_WORDS
from monitor.parameters import table
from monitor.planning import labels_ratings as ratings
from monitor.planning.labels_codes import LEFT, POSTS_NEAR, RIGHT, Code, Part, Size, nearest, read_code
from monitor.planning.labels_ratings import Span, exactly

P = table("planning", "labels")
CAPACITIES_AH, CRANKING_A, MINUTES, SIDES_MM = (
    P.numbers("capacities_ah"), P.numbers("cranking_a"), P.numbers("reserve_minutes"), P.numbers("sides_mm"))
MOST_WH_L, AGREE_FRAC, LONGEST = P.by_chemistry("most_wh_l"), P.number("agree_frac"), P.count("longest")
POUND_KG = table("battery", "units").number("pound_kg")
_SAID_AS = (
    ("lfp", r"LI\s*FE\s*PO\s*4|LIFEPO|LFP|LITHIUM(?:[\s-]*IRON[\s-]*PHOSPHATE)?"), ("agm", r"AGM|VRLA"), ("gel", r"GEL"),
    ("flooded", r"EFB|FLOODED|WET|SMF|MF|MAINTENANCE[\s-]*FREE|LEAD[\s-]*ACID|VENTED|SLI"))
_NUMBER = r"(\d{1,4}(?:[.,]\d+)?)"
_NORM = r"(EN\s*[12]?|SAE|DIN|IEC|JIS|MCA|CCA|HCA|CA)"


@dataclass(frozen=True, slots=True)
class BatteryLabel:
    """What was read of a label.

    kind : flooded, agm, gel or lfp; "" where it does not say
    capacity_ah : over 20 hours [Ah] (lithium: as printed), and capacity_from, what that rests on; None where nothing tells
    cranking_sae_a, cranking_en_a : on those two scales [A]
    parts : how each part was read; doubts : what does not agree; unknown : what could not be read, a sentence each
    """

    text: str
    kind: str = ""
    voltage_v: float = 12.0
    capacity_ah: Span | None = None
    capacity_from: str = ""
    cranking_sae_a: Span | None = None
    cranking_en_a: Span | None = None
    reserve_min: Span | None = None
    energy_wh: float | None = None
    usable_wh: float | None = None
    size: Size | None = None
    plus: str = ""
    seen: str = ""
    posts: str = ""
    weight_kg: float | None = None
    parts: tuple[Part, ...] = ()
    doubts: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass
class _Reading:
    """What has been found so far, and what of the text is left."""

    whole: str
    left: str
    groups: list[tuple[int, list[Part]]] = field(default_factory=list)
    codes: list[Code] = field(default_factory=list)

    @property
    def parts(self) -> list[Part]:
        """What was read, in the order in which it stands there."""
        return [part for _, group in sorted(self.groups, key=lambda pair: pair[0]) for part in group]

    def add(self, text: str, meaning: str, *more: Part) -> None:
        """Notes what a piece of the text says, and what its own parts say."""
        text = text.strip()
        self.groups.append((self.whole.find(text), [Part(text, meaning), *more]))

    def take(self, pattern: str) -> re.Match[str] | None:
        """The first match, which is then taken out of the text."""
        found = re.search(pattern, self.left)
        if found:
            self.left = f"{self.left[:found.start()]} | {self.left[found.end():]}"
        return found


def read_label(text: str) -> BatteryLabel:
    """A label as somebody types it off the battery: codes, figures and words in any order.

    >>> found = read_label("12V 95Ah 850A (EN) 353x175x190 AGM")
    >>> found.kind, found.capacity_ah.usual, round(found.cranking_sae_a.usual)
    ('agm', 95.0, 895)

    Raises
    ------
    ValueError : nothing in it could be read, or a figure that no 12 V battery has
    """
    plain = " ".join(text.split())
    if not plain or len(plain) > LONGEST:
        raise ValueError(f"a label is one line of 1 to {LONGEST} characters: type what is printed, as 12V 95Ah 850A EN, 55B24R or LN4")
    capitals = plain.upper().replace("×", "X").replace("\u2009", " ")
    reading = _Reading(capitals, capitals)
    size, weight = _read_size(reading), _read_weight(reading)
    plus, seen = _read_side(reading)
    _read_codes(reading)
    kind = _read_kind(reading)
    voltage = _read_voltage(reading)
    printed, hours = _read_capacities(reading, kind)
    energy = _read_energy(reading)
    reserve = _read_reserve(reading)
    amperes, norm = _read_cranking(reading)
    unknown = _unread(reading)
    code = _merge(reading.codes)
    if code is not None and code.voltage_v != 12.0:
        voltage = code.voltage_v
    if not reading.parts:
        raise ValueError(unknown[0].rstrip(".") if unknown else f"nothing in {plain!r} is a code or a figure of a battery: type what is "
                         "printed, as 12V 95Ah 850A EN, 55B24R or LN4")
    if voltage not in (12.0, 12.8):
        raise ValueError(f"this is a {voltage:g} V battery: a 12 V system takes one of 12 V, or two of 6 V in series, which is not "
                         "planned here")
    found = BatteryLabel(
        plain, kind, voltage, size=size or (code.size if code else None), plus=plus or (code.plus if code else ""),
        seen=seen if plus else (code.seen if code else ""), posts=code.posts if code else "", weight_kg=weight,
        parts=tuple(reading.parts), unknown=tuple(unknown))
    found = _with_capacity(found, code, printed, hours, energy, reserve)
    found = _with_cranking(found, code, amperes, norm)
    return _with_doubts(found, printed, energy)


def _with_capacity(label: BatteryLabel, code: Code | None, printed: float | None, hours: float, energy: float | None,
                   reserve: float | None) -> BatteryLabel:
    """With the twenty-hour capacity, and what it rests on."""
    kind = label.kind or None
    reserve_span = exactly(reserve) if reserve is not None else (code.reserve_min if code else None)
    capacity, basis = None, ""
    if printed is not None:
        if kind == "lfp" or hours == 20.0:
            capacity, basis = exactly(printed), "printed"
        else:
            capacity, basis = ratings.capacity_at(printed, hours, 20.0, kind), f"from its {hours:g}-hour figure"
    elif code is not None and code.capacity_ah is not None:
        capacity, basis = exactly(code.capacity_ah), "from its type number"
    elif energy is not None:
        volts = ratings.TABLES["energy"]["lfp_v" if kind == "lfp" else "lead_v"]
        capacity, basis = exactly(energy / volts), f"from its watt-hours, at {volts:g} V"
    elif reserve is not None:
        capacity, basis = ratings.capacity_from_reserve(reserve, kind), "from its reserve minutes"
    elif reserve_span is not None:
        ends = [ratings.capacity_from_reserve(x, kind) for x in (reserve_span.low, reserve_span.usual, reserve_span.high)]
        capacity, basis = Span(ends[0].low, ends[1].usual, ends[2].high), "roughly, from its performance rank"
    if reserve_span is None and capacity is not None:
        ends = [ratings.reserve_from_capacity(x, 20.0, kind) for x in (capacity.low, capacity.usual, capacity.high)]
        reserve_span = Span(ends[0].low, ends[1].usual, ends[2].high)
    if capacity is not None:
        _within("capacity", capacity.usual, CAPACITIES_AH, "Ah")
    whole, usable = ratings.energy_wh(capacity.usual, kind) if capacity is not None else (None, None)
    return replace(label, capacity_ah=capacity, capacity_from=basis, reserve_min=reserve_span, energy_wh=whole, usable_wh=usable)


def _with_cranking(label: BatteryLabel, code: Code | None, amperes: float | None, norm: str) -> BatteryLabel:
    """With the cold-cranking current on two scales."""
    if amperes is not None:
        given = exactly(amperes)
    elif code is not None and code.cranking_a is not None:
        given, norm = code.cranking_a, code.norm
    else:
        return label

    def by(wanted: str) -> Span:
        if norm == "?":     # no norm printed: one of the two usual ones
            spans = [ratings.cranking_by(given.usual, one, wanted) for one in ("SAE", "EN")]
            return Span(min(s.low for s in spans), sum(s.usual for s in spans) / 2, max(s.high for s in spans))
        ends = [ratings.cranking_by(x, norm, wanted) for x in (given.low, given.usual, given.high)]
        return Span(ends[0].low, ends[1].usual, ends[2].high)

    return replace(label, cranking_sae_a=by("SAE"), cranking_en_a=by("EN"))


def _with_doubts(label: BatteryLabel, printed: float | None, energy: float | None) -> BatteryLabel:
    """With what does not agree on it."""
    doubts = []
    if printed is not None and energy is not None and label.energy_wh and abs(energy / label.energy_wh - 1) > AGREE_FRAC:
        doubts.append(f"{energy:g} Wh and {printed:g} Ah do not agree: {printed:g} Ah at 12 V are about {label.energy_wh:.0f} Wh.")
    if label.size is not None and label.energy_wh is not None and label.capacity_from != "roughly, from its performance rank":
        litres = label.size.length_mm * label.size.width_mm * label.size.height_mm / 1e6
        most = MOST_WH_L[label.kind != "lfp"]
        if label.energy_wh / litres > most:
            doubts.append(f"{label.energy_wh:.0f} Wh in a box of {litres:.1f} litres is more than any "
                          f"{KIND_WORDS.get(label.kind, 'lead-acid')} battery holds: doubt the capacity, or look at the size again.")
    if label.capacity_ah is not None and label.capacity_from == "printed" and label.reserve_min is not None and label.reserve_min.exact:
        told = ratings.capacity_from_reserve(label.reserve_min.usual, label.kind or None)
        if not (1 - AGREE_FRAC) * told.low <= label.capacity_ah.usual <= (1 + AGREE_FRAC) * told.high:
            doubts.append(f"{label.reserve_min.usual:g} reserve minutes go with {told.low:.0f} to {told.high:.0f} Ah, not with "
                          f"{label.capacity_ah.usual:g} Ah.")
    return replace(label, doubts=tuple(doubts))


def _within(what: str, value: float, limits: tuple[float, float], unit: str) -> float:
    """The value. Raises ValueError where no battery has it."""
    low, high = limits
    if not low <= value <= high:
        raise ValueError(f"{what} is {value:g} {unit}: a battery for a vehicle has {low:g} to {high:g} {unit}; look at the label again")
    return value


def _float(text: str) -> float:
    return float(text.replace(",", "."))


def _read_size(reading: _Reading) -> Size | None:
    found = reading.take(rf"{_NUMBER}\s*(?:MM)?\s*[X*]\s*{_NUMBER}\s*(?:MM)?\s*[X*]\s*{_NUMBER}\s*(MM|CM|IN|\")?")
    if not found:
        return None
    scale = {"CM": 10.0, "IN": 25.4, '"': 25.4}.get(found[4] or "", 1.0)
    sides = [scale * _float(found[n]) for n in (1, 2, 3)]
    for side in sides:
        _within("a side", side, SIDES_MM, "mm")
    length, width = max(sides[:2]), min(sides[:2])
    reading.add(found[0], f"{length:.0f} mm long, {width:.0f} mm wide, {sides[2]:.0f} mm high")
    return Size(length, width, sides[2], 2.0, with_posts=True)


def _read_weight(reading: _Reading) -> float | None:
    found = reading.take(rf"{_NUMBER}\s*(KG|LBS?)\b")
    if not found:
        return None
    weight = _float(found[1]) * (1.0 if found[2] == "KG" else POUND_KG)
    reading.add(found[0], f"weighs {weight:.1f} kg")
    return weight


def _read_side(reading: _Reading) -> tuple[str, str]:
    found = reading.take(r"(?<![\w+])(?:([LR])\s?\+|\+\s?([LR])(?!\w)|(?:PLUS|POSITIVE)\s+(?:ON\s+THE\s+)?(LEFT|RIGHT))")
    if not found:
        return "", ""
    side = LEFT if (found[1] or found[2] or found[3])[0] == "L" else RIGHT
    reading.add(found[0], f"plus is on the {side}, {POSTS_NEAR}")
    return side, POSTS_NEAR


def _read_codes(reading: _Reading) -> None:
    """Every code in the text."""
    for pattern in (r"\b[1-7]\d\d[\s.-]\d{3}[\s.-]\d{3}\b", r"\b(?:BCI(?:\s*GROUP)?|GROUP|GRP|GR)[\s.:-]*(?:\d{1,3}|4D|8D|U1)[FRTM]?\b",
                    r"\b[A-Z]{1,3}-?\d{1,3}[LRN]?\b|\b\d{2,3}[A-H]\d{2}[LR]?\b|\b\d{9}\b|\b(?:\d{2}[FRTM]|[48]D|U1)\b"):
        for found in list(re.finditer(pattern, reading.left)):
            code = read_code(re.sub(r"[\s.:]", "", found[0]))
            if code is not None:
                reading.codes.append(code)
                reading.add(found[0], f"a code of {code.standard}", *code.parts)
                reading.left = reading.left.replace(found[0], " | ", 1)


def _read_kind(reading: _Reading) -> str:
    for kind, words in _SAID_AS:
        found = reading.take(rf"(?<![A-Z])(?:{words})(?![A-Z])")
        if found:
            note = ": enhanced flooded" if found[0] == "EFB" else ""
            reading.add(found[0], KIND_WORDS[kind] + note)
            return kind
    return ""


def _read_voltage(reading: _Reading) -> float:
    found = reading.take(r"(?<![\d.,])(\d{1,2}(?:[.,]\d+)?)\s*V(?:OLTS?|DC)?\b")
    if not found:
        return 12.0
    reading.add(found[0], f"{_float(found[1]):g} V")
    return _float(found[1])


def _read_capacities(reading: _Reading, kind: str) -> tuple[float | None, float]:
    """Ampere-hours and the hours they are for: of several the one nearest to 20 hours; 20 where the label does not say."""
    found: list[tuple[float, float]] = []
    while (one := _read_capacity(reading, kind)) is not None:
        found.append(one)
    return min(found, key=lambda pair: abs(pair[1] - 20.0)) if found else (None, 20.0)


def _read_capacity(reading: _Reading, kind: str) -> tuple[float, float] | None:
    """The next capacity as printed, and its hours; None where there is none."""
    rate = r"(?:[CK]\s?/?\s?(\d{1,3})(?!\d)|(\d{1,3})\s?H(?:R|RS|OURS?)?(?:\s?RATE)?\b)"
    found = reading.take(rf"{rate}\s*[):=@-]?\s*{_NUMBER}\s*A\.?H\b")
    if found:
        hours, value = float(found[1] or found[2]), _float(found[3])
    else:
        found = reading.take(rf"{_NUMBER}\s*A\.?H\b\s*[(@/,-]?\s*{rate}\)?") or reading.take(rf"{_NUMBER}\s*A\.?H\b")
        if not found:
            return None
        groups = found.groups()
        value, hours = _float(groups[0]), float((groups[1] or groups[2]) if len(groups) > 1 else 20.0)
    _within("capacity", value, CAPACITIES_AH, "Ah")
    _within("the hours of the capacity", hours, (1.0, 120.0), "h")
    said = f"{value:g} Ah over {hours:g} hours" if re.search(rate, found[0]) else (
        f"{value:g} Ah" if kind == "lfp" else f"{value:g} Ah, over 20 hours as nothing else is printed")
    reading.add(found[0], said)
    return value, hours


def _read_energy(reading: _Reading) -> float | None:
    found = reading.take(rf"{_NUMBER}\s*(K?)WH\b")
    if not found:
        return None
    value = _float(found[1]) * (1000.0 if found[2] else 1.0)
    _within("energy", value, (10.0, 15_000.0), "Wh")
    reading.add(found[0], f"{value:g} Wh")
    return value


def _read_reserve(reading: _Reading) -> float | None:
    found = (reading.take(rf"\bRC\s*[:=]?\s*{_NUMBER}\s*(?:MIN(?:UTES|S)?)?\b")
             or reading.take(rf"{_NUMBER}\s*(?:MIN(?:UTES|S)?|RC)\b(?:\s*RC)?"))
    if not found:
        return None
    value = _within("reserve capacity", _float(found[1]), MINUTES, "min")
    reading.add(found[0], f"reserve capacity: {value:g} minutes at 25 A down to 10.5 V")
    return value


def _read_cranking(reading: _Reading) -> tuple[float | None, str]:
    """Cold-cranking amperes and the norm; "?" where none is printed."""
    found = (reading.take(rf"{_NUMBER}\s*A?\s*[(/]?\s*{_NORM}\b\)?(?:\s*[(/]?\s*{_NORM}\b\)?)?")
             or reading.take(rf"\b{_NORM}\)?\s*[(:=]?\s*(?:{_NORM}\)?)?\s*[:=]?\s*{_NUMBER}\s*A?\b"))
    if found:
        norms = [g for g in found.groups() if g and not g[0].isdigit()]
        value = _float(next(g for g in found.groups() if g and g[0].isdigit()))
        norm = next((n for n in norms if n not in ("CCA", "CA", "HCA")), norms[0]).replace(" ", "")
    else:
        found = reading.take(rf"{_NUMBER}\s*A\b")
        if not found:
            return None, ""
        value, norm = _float(found[1]), "?"
    _within("cold-cranking current", value, CRANKING_A, "A")
    scale = {"CCA": "SAE", "CA": "MCA", "EN1": "EN", "EN2": "EN"}.get(norm, norm)
    if norm == "HCA":
        reading.add(found[0], f"{value:g} A at 27 °C: that says little of the cold, and is left out")
        return None, ""
    meaning = {"?": f"{value:g} A, by which norm is not printed: taken for SAE or EN",
               "CCA": f"{value:g} A cold-cranking; without a norm it is read as SAE",
               "CA": f"{value:g} A at 0 °C", "MCA": f"{value:g} A at 0 °C, the marine figure"}
    reading.add(found[0], meaning.get(norm, f"{value:g} A cold-cranking by {norm}"))
    return value, scale


def _merge(codes: list[Code]) -> Code | None:
    """The codes as one: the first that says a thing counts."""
    if not codes:
        return None
    first = codes[0]
    for other in codes[1:]:
        first = replace(first, size=first.size or other.size, plus=first.plus or other.plus, seen=first.seen or other.seen,
                        posts=first.posts or other.posts, capacity_ah=first.capacity_ah or other.capacity_ah,
                        cranking_a=first.cranking_a or other.cranking_a, norm=first.norm or other.norm,
                        reserve_min=first.reserve_min or other.reserve_min)
    return first


#: Words of a label that say nothing of the battery.
_IDLE = {"CCA", "CA", "RC", "BATTERY", "BATTERIES", "C20", "MM", "START", "STOP", "DEEP", "CYCLE", "LEISURE", "MARINE", "SOLAR", "SEALED",
         "STARTER", "VOLT", "TYPE", "SIZE", "BLUETOOTH", "BMS", "A", "H", "NON", "SPILLABLE", "DUAL", "PURPOSE", "RECHARGEABLE"}


def _unread(reading: _Reading) -> list[str]:
    """A sentence for each thing that could not be read; names without a digit are passed over."""
    found = []
    if (group := re.search(r"\b(?:BCI|GROUP|GRP|GR)[\s.:-]*(?:GROUP)?\s*(\d{1,3}[A-Z]?)\b", reading.left)) is not None:
        like = nearest(f"GROUP{group[1]}")
        found.append(f"Group {group[1]} is no group this program knows; the nearest it knows is {like}.")
        reading.left = reading.left.replace(group[0], " ")
    for word in re.findall(r"[A-Z0-9][A-Z0-9/.-]*", reading.left):
        word = word.strip("./-")
        if word in _IDLE or not any(c.isdigit() for c in word) or len(word) < 2:
            continue
        like = nearest(word)
        found.append(f"{word} is no code of a standard this program knows" + (f"; the nearest it knows is {like}." if like else
                     "; a maker's own number says nothing here."))
    return found
