"""The wiring picture of one vehicle as SVG, narrow enough for a phone: our own drawing, made from its plan."""
from html import escape

from monitor.guides.wiring_plan import WiringPlan

WIDTH = 440
#: Lines of the grid: starter's plus, house battery's plus, positive bus, negative bus [px].
STARTER_X, HOUSE_X, PLUS_X, MINUS_X = 92, 340, 422, 34
LINK_Y, BUS_Y, BATTERY_Y, EARTH_Y = 84, 150, 262, 446
FIRST_ROW_Y, ROW_H = 500, 58
PLUS, MINUS, SENSE, PAPER, INK, FUSE = "#a8231a", "#1d2a3a", "#1c6b3c", "#fffdf7", "#17231c", "#f4d58a"


class _Sheet:
    """Collects shapes; text always lies on top."""

    def __init__(self) -> None:
        self._shapes: list[str] = []
        self._texts: list[str] = []

    def wire(self, *points: tuple[float, float], colour: str = PLUS, width: float = 2.6, dashed: bool = False) -> None:
        path = "M" + " L".join(f"{x:g} {y:g}" for x, y in points)
        dash = ' stroke-dasharray="5 3"' if dashed else ""
        self._shapes.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}" stroke-linejoin="round"{dash}/>')

    def sense(self, *points: tuple[float, float]) -> None:
        self.wire(*points, colour=SENSE, width=1.7, dashed=True)

    def dot(self, x: float, y: float, colour: str) -> None:
        self._shapes.append(f'<circle cx="{x:g}" cy="{y:g}" r="3.6" fill="{colour}"/>')

    def box(self, x: float, y: float, w: float, h: float, *lines: str, fill: str = "#ffffff", size: float = 12.5) -> None:
        self._shapes.append(f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="3" fill="{fill}" stroke="{INK}" '
                            f'stroke-width="1.6"/>')
        top = y + h / 2 + size * 0.36 - (len(lines) - 1) * (size + 2.5) / 2
        for number, line in enumerate(lines):
            self.text(x + w / 2, top + number * (size + 2.5), line, size=size, anchor="middle", bold=number == 0)

    def fuse(self, x: float, y: float, upright: bool = False, size: str = "") -> None:
        w, h = (12, 22) if upright else (22, 12)
        self._shapes.append(f'<rect x="{x - w / 2:g}" y="{y - h / 2:g}" width="{w}" height="{h}" rx="2" fill="{FUSE}" stroke="{INK}" '
                            f'stroke-width="1.4"/>')
        line = f'M{x:g} {y - 11:g} V{y + 11:g}' if upright else f'M{x - 11:g} {y:g} H{x + 11:g}'
        self._shapes.append(f'<path d="{line}" stroke="{INK}" stroke-width="1"/>')
        if size:
            self.text(*((x + 10, y + 4) if upright else (x, y - 10)), size, size=12, anchor="start" if upright else "middle")

    def raw(self, shape: str) -> None:
        self._shapes.append(shape)

    def text(self, x: float, y: float, text: str, size: float = 12, anchor: str = "start", bold: bool = False, colour: str = INK) -> None:
        weight = ' font-weight="600"' if bold else ""
        self._texts.append(f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" text-anchor="{anchor}" fill="{colour}"{weight} '
                           f'stroke="{PAPER}" stroke-width="3" paint-order="stroke" stroke-linejoin="round">{escape(text)}</text>')

    def svg(self, height: float, title: str) -> str:
        return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height:g}" role="img" aria-label="{escape(title)}" '
                'font-family="system-ui, sans-serif">'
                f'<title>{escape(title)}</title><rect width="{WIDTH}" height="{height:g}" fill="{PAPER}"/>'
                + "".join(self._shapes) + "".join(self._texts) + "</svg>\n")


def draw(plan: WiringPlan) -> str:
    """The picture of a plan.

    Every positive conductor leaves its source through a fuse, measuring leads too; every negative and the board's own
    0 V end on the load side of the shunt.
    """
    sheet = _Sheet()
    rows = _rows(plan)
    bottom = FIRST_ROW_Y + (len(rows) - 1) * ROW_H
    sheet.wire((PLUS_X, BUS_Y), (PLUS_X, bottom))
    sheet.wire((MINUS_X, EARTH_Y), (MINUS_X, bottom), colour=MINUS)
    _engine(sheet)
    _house(sheet, plan)
    _join(sheet, plan)
    _board(sheet, plan)
    for number, (lines, measured) in enumerate(rows):
        _row(sheet, FIRST_ROW_Y + number * ROW_H, lines, measured)
    height = _legend(sheet, bottom + 52, any(measured for _, measured in rows))
    return sheet.svg(height, describe(plan))


def describe(plan: WiringPlan) -> str:
    """The picture in a sentence, for who cannot see it."""
    join = {"relay": "a relay", "dc_dc": "a DC-DC charger"}[plan.join]
    shunt = "negative lead" if plan.shunt_side == "low" else "positive lead"
    extras = [f"{plan.solar_charger_count} solar charger{'s' if plan.solar_charger_count > 1 else ''}"] if plan.solar_charger_count else []
    extras += ["a shore charger"] * plan.shore_charger + ["an inverter"] * plan.inverter
    return (f"Wiring of two batteries joined by {join} with a fuse at each battery, the shunt in the house battery's {shunt}, loads"
            + "".join(f", {e}" for e in extras) + " and the board behind fuses of their own, measuring leads behind fuses of 1 A, every "
                                                  "negative on the load side of the shunt.")


def _engine(sheet: _Sheet) -> None:
    """Starter battery, engine, chassis. The vehicle's own cranking cable leaves the post before the fuse of the join."""
    sheet.wire((STARTER_X, BATTERY_Y), (STARTER_X, LINK_Y))
    sheet.wire((STARTER_X, 244), (62, 244), (62, 206))
    sheet.dot(STARTER_X, 244, PLUS)
    sheet.box(4, 152, 74, 54, "engine", "starter,", "alternator", size=12)
    sheet.text(6, 132, "vehicle's own", size=12)
    sheet.text(6, 145, "cables", size=12)
    sheet.wire((20, 206), (20, EARTH_Y), (MINUS_X, EARTH_Y), colour=MINUS)
    sheet.wire((104, BATTERY_Y + 76), (104, EARTH_Y), colour=MINUS)
    sheet.dot(104, EARTH_Y, MINUS)
    _battery(sheet, 56, "starter", STARTER_X - 56, 48)
    sheet.wire((MINUS_X, EARTH_Y), (HOUSE_X + 20, EARTH_Y), colour=MINUS, width=3.6)
    sheet.dot(MINUS_X, EARTH_Y, MINUS)
    sheet.text(112, EARTH_Y + 17, "negative bus and chassis", size=12.5)


def _battery(sheet: _Sheet, x: float, name: str, plus_dx: float, minus_dx: float) -> None:
    sheet.box(x, BATTERY_Y, 96, 76, name, "battery", fill="#eef3e6", size=13)
    sheet.text(x + plus_dx, BATTERY_Y + 15, "+", size=16, anchor="middle", bold=True, colour=PLUS)
    sheet.text(x + minus_dx, BATTERY_Y + 71, "−", size=16, anchor="middle", bold=True, colour=MINUS)


def _house(sheet: _Sheet, plan: WiringPlan) -> None:
    """House battery, its main fuse, the shunt on either side."""
    sheet.wire((HOUSE_X, BATTERY_Y), (HOUSE_X, BUS_Y), width=3.6)
    sheet.wire((HOUSE_X, BUS_Y), (PLUS_X, BUS_Y), width=3.6)
    sheet.dot(HOUSE_X, BUS_Y, PLUS)
    sheet.fuse(HOUSE_X, BATTERY_Y - 30, upright=True)
    sheet.text(HOUSE_X + 11, BATTERY_Y - 26, "main fuse", size=12)
    sheet.wire((HOUSE_X + 20, BATTERY_Y + 76), (HOUSE_X + 20, EARTH_Y), colour=MINUS, width=3.6)
    _battery(sheet, 304, "house", HOUSE_X - 304, HOUSE_X + 20 - 304)
    if plan.shunt_side == "low":
        sheet.box(HOUSE_X - 18, 372, 76, 36, "shunt", fill="#dfe6ef")
        sheet.text(HOUSE_X + 14, 366, "battery side", size=12, anchor="end")
        sheet.text(HOUSE_X + 14, 424, "load side", size=12, anchor="end")
    else:
        sheet.box(HOUSE_X - 24, 176, 50, 40, "shunt", fill="#dfe6ef", size=12.5)
    if plan.thermometer:
        sheet.raw(f'<circle cx="304" cy="{BATTERY_Y + 58}" r="6" fill="{SENSE}" stroke="{INK}"/>')
        sheet.sense((298, BATTERY_Y + 58), (258, BATTERY_Y + 58))
        sheet.text(312, BATTERY_Y + 73, "°C", size=12, colour=SENSE)


def _join(sheet: _Sheet, plan: WiringPlan) -> None:
    """Relay or DC-DC charger between the batteries, a fuse at each end, its trigger wire."""
    sheet.wire((STARTER_X, LINK_Y), (168, LINK_Y))
    sheet.wire((262, LINK_Y), (HOUSE_X, LINK_Y), (HOUSE_X, BUS_Y))
    sheet.fuse(STARTER_X, 216, upright=True)
    sheet.fuse(HOUSE_X, 118, upright=True)
    sheet.text(HOUSE_X + 11, 122, "fuse", size=12)
    sheet.text(STARTER_X + 11, 220, "fuse", size=12)
    if plan.join == "relay":
        sheet.box(168, LINK_Y - 24, 94, 48, "relay", *([] if plan.join_known else ["or DC-DC"]),
            *(["senses voltage"] if not plan.trigger else []), size=12)
    else:
        sheet.box(168, LINK_Y - 24, 94, 48, "DC-DC", "charger")
        sheet.wire((178, LINK_Y + 24), (178, 128), (168, 128), (168, EARTH_Y), colour=MINUS)
        sheet.dot(168, EARTH_Y, MINUS)
    if plan.trigger:
        sheet.wire((106, 26), (215, 26), (215, LINK_Y - 24), width=1.8)
        sheet.box(6, 6, 100, 40, "ignition", "live with engine", size=12)
        sheet.fuse(130, 26, size="1–3 A")
        if plan.join == "relay":
            sheet.wire((241, LINK_Y - 24), (241, 30), (260, 30), colour=MINUS, width=1.8)
            _earth(sheet, 260, 30)
            _diode(sheet, 215, 241, 44)
            sheet.text(272, 48, "diode across the coil", size=12)
    elif plan.join == "relay":
        sheet.wire((241, LINK_Y - 24), (241, 38), (260, 38), colour=MINUS, width=1.8)
        _earth(sheet, 260, 38)


def _earth(sheet: _Sheet, x: float, y: float) -> None:
    sheet.raw(f'<path d="M{x:g} {y - 7:g} V{y + 7:g} M{x + 4:g} {y - 4.5:g} V{y + 4.5:g} M{x + 8:g} {y - 2:g} V{y + 2:g}" '
              f'stroke="{MINUS}" stroke-width="1.8"/>')


def _diode(sheet: _Sheet, left: float, right: float, y: float) -> None:
    """A diode between the coil's ends, its ring towards plus (left)."""
    middle = (left + right) / 2
    sheet.wire((left, y), (right, y), colour=INK, width=1.3)
    sheet.raw(f'<path d="M{middle + 5:g} {y - 5:g} V{y + 5:g} L{middle - 4:g} {y:g} Z" fill="{INK}"/>'
              f'<path d="M{middle - 5:g} {y - 6:g} V{y + 6:g}" stroke="{INK}" stroke-width="1.8"/>')


def _board(sheet: _Sheet, plan: WiringPlan) -> None:
    """The board: fed behind the shunt, its 0 V on the load side, its measuring leads each from where they measure."""
    sheet.wire((HOUSE_X, BUS_Y), (220, BUS_Y), (220, 262), width=2)
    sheet.fuse(306, BUS_Y)
    sheet.text(306, BUS_Y - 11, "fuse", size=12, anchor="middle")
    sheet.box(180, BUS_Y + 22, 80, 34, "converter", size=12.5)
    sheet.box(180, 262, 78, 76, "board", fill="#e6eef0", size=13)
    sheet.wire((220, 338), (220, EARTH_Y), colour=MINUS, width=2)
    sheet.dot(220, EARTH_Y, MINUS)
    sheet.text(214, 362, "0 V", size=12.5, anchor="end", bold=True)
    # the house voltage, both leads from the posts
    sheet.sense((HOUSE_X, BATTERY_Y - 8), (284, BATTERY_Y - 8), (284, BATTERY_Y + 14), (258, BATTERY_Y + 14))
    sheet.dot(HOUSE_X, BATTERY_Y - 8, SENSE)
    sheet.fuse(300, BATTERY_Y - 8)
    sheet.text(290, BATTERY_Y - 18, "1 A", size=12, anchor="end")
    sheet.sense((HOUSE_X + 20, BATTERY_Y + 82), (272, BATTERY_Y + 82), (272, BATTERY_Y + 36), (258, BATTERY_Y + 36))
    sheet.dot(HOUSE_X + 20, BATTERY_Y + 82, SENSE)
    if plan.shunt_side == "low":
        sheet.sense((HOUSE_X - 18, 380), (246, 380), (246, 338))
        sheet.sense((HOUSE_X - 18, 400), (236, 400), (236, 338))
        sheet.text(249, 394, "twisted pair", size=12)
    else:
        sheet.sense((HOUSE_X - 24, 186), (266, 186), (266, 222), (240, 222), (240, 262))
        sheet.sense((HOUSE_X - 24, 206), (274, 206), (274, 230), (250, 230), (250, 262))
        sheet.fuse(296, 186)
        sheet.fuse(296, 206)
        sheet.text(314, 174, "1 A each", size=12, anchor="end")
    if plan.starter_sense:
        sheet.sense((STARTER_X, BATTERY_Y - 8), (159, BATTERY_Y - 8), (159, BATTERY_Y + 30), (180, BATTERY_Y + 30))
        sheet.dot(STARTER_X, BATTERY_Y - 8, SENSE)
        sheet.fuse(134, BATTERY_Y - 8)
        sheet.text(134, BATTERY_Y - 18, "1 A", size=12, anchor="middle")


def _rows(plan: WiringPlan) -> list[tuple[tuple[str, ...], bool]]:
    """What hangs between the two buses, each as its lines and whether its current is measured apart."""
    rows: list[tuple[tuple[str, ...], bool]] = [(("loads", "fuse panel, one fuse each"), False)]
    if plan.inverter:
        rows.append((("inverter", "a heavy fuse of its own"), False))
    for number in range(plan.solar_charger_count):
        name = "solar charger" if plan.solar_charger_count == 1 else f"solar charger {number + 1}"
        rows.append(((name, "fed by the panel"), number < plan.solar_measured_count))
    if plan.shore_charger:
        rows.append((("shore charger", "fed by the mains"), False))
    return rows


def _row(sheet: _Sheet, y: float, lines: tuple[str, ...], measured: bool) -> None:
    sheet.wire((288, y), (PLUS_X, y))
    sheet.dot(PLUS_X, y, PLUS)
    sheet.fuse(PLUS_X - 26, y)
    sheet.wire((MINUS_X, y), (112, y), colour=MINUS)
    sheet.dot(MINUS_X, y, MINUS)
    sheet.box(112, y - 21, 176, 42, *lines)
    if measured:
        _meter(sheet, 334, y)


def _meter(sheet: _Sheet, x: float, y: float) -> None:
    """Where a current is measured apart."""
    sheet.raw(f'<circle cx="{x:g}" cy="{y:g}" r="13" fill="{PAPER}" stroke="{SENSE}" stroke-width="2"/>')
    sheet.text(x, y + 4.5, "A", size=13, anchor="middle", bold=True, colour=SENSE)


def _legend(sheet: _Sheet, y: float, meters: bool) -> float:
    """What the lines mean; returns the picture's height."""
    sheet.wire((14, y), (46, y), width=3)
    sheet.text(54, y + 4, "positive, fused at its source")
    sheet.wire((236, y), (268, y), colour=MINUS, width=3)
    sheet.text(276, y + 4, "negative, chassis")
    sheet.sense((14, y + 24), (46, y + 24))
    sheet.text(54, y + 28, "measuring lead")
    sheet.fuse(252, y + 24)
    sheet.text(276, y + 28, "fuse")
    if meters:
        _meter(sheet, 30, y + 52)
        sheet.text(54, y + 56, "measured apart, its sense leads fused like all others")
        y += 28
    sheet.text(14, y + 54, "A plan, not to scale. Sizes of cables and fuses: circuit sheet.", size=12)
    sheet.text(14, y + 69, "Local codes and a licensed electrician have the last word.", size=12)
    return y + 84
