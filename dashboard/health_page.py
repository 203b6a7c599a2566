"""Page Health: what the batteries can still do, against their labels."""
from dashboard.book import Book
from monitor.findings import Estimate
from monitor.report import Figure, figure, number

Row = tuple[str, Figure, str]


def health_lead(book: Book) -> str:
    """The house battery's capacity against its label in one sentence."""
    capacity, rated = book.findings.charge.capacity_ah, book.vehicle.house.rated_capacity_ah
    if not isinstance(capacity, Estimate):
        return f"What the house battery can still hold is not known yet, because {capacity.because}."
    text = f"When full, the house battery gives about {figure(capacity, 'Ah', least=0)}"
    if capacity.basis in ("label", "first guess"):
        return f"{text}: what its label promises, not yet tested on this battery."
    if rated:
        text += f", {100 * capacity.value / rated:.0f} % of the {number(rated)} Ah on its label"
    return f"{text}."


def house_rows(book: Book) -> list[Row]:
    """Figures of the house battery."""
    charge, rated = book.findings.charge, book.vehicle.house.rated_capacity_ah
    rows = [("Capacity now", figure(charge.capacity_ah, "Ah", digits=0, least=0), "")]
    if rated and isinstance(charge.capacity_ah, Estimate):
        rows.append(("Of the label", figure(charge.capacity_ah, "%", scale=100 / rated, least=0), f"label: {number(rated)} Ah"))
    rows.append(("Inner resistance", figure(charge.resistance_ohm, "mΩ", digits=1, scale=1000, least=0), ""))
    rows.append(("Current meter is off by", figure(charge.current_offset_a, "mA", scale=1000), ""))
    return rows


def starter_rows(book: Book) -> list[Row]:
    """Figures of the starter battery and the way between both."""
    found = book.findings
    return [
        ("Starter battery rests at", figure(found.starter.rest_voltage_v, "V", digits=2), ""),
        ("Leaves it while it stands", figure(found.starter.drain_a, "mA", scale=1000, least=0), ""),
        ("Drop when starting", figure(found.starter.crank_drop_frac, "%", scale=100), ""),
        ("Isolator and cables", figure(found.join.path_resistance_ohm, "mΩ", digits=1, scale=1000, least=0), ""),
    ]

