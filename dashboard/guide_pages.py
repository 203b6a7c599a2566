"""The guides as pages: wiring with this vehicle's picture, the circuit sheet, what to do when it will not start."""
from dataclasses import replace

from flask import Blueprint, Response, abort, render_template, request
from markupsafe import Markup

from dashboard import guide_text
from dashboard import log_view as books
from dashboard.words import clock_text
from monitor import documents
from monitor.circuits import source, ventilation, words
from monitor.circuits.circuit import KINDS, LAYINGS, PLACES, Circuit, Refused
from monitor.circuits.design import CAUTION, Sheet, design
from monitor.circuits.source import Supply
from monitor.guides import wiring_picture
from monitor.guides.wiring_plan import Wiring, WiringPlan, make_plan
from monitor.planning import parked_return
from monitor.planning.parked import make_plan as make_parking_plan
from monitor.reporting import parked_words

guides = Blueprint("guides", __name__)
#: Drawn as measured where the log does not tell what is.
USUAL = ("house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c")
#: How far the last stay is looked for, and the last warmth [s].
LOOK_BACK_S, WARMTH_S = 200 * 86400.0, 7 * 86400.0
INSULATIONS_C = (60, 70, 75, 80, 85, 90, 100, 105, 125)


@guides.get("/wiring")
def wiring() -> str:
    """The wiring guide under the picture of this vehicle."""
    book = books.open_if_readable()
    plan = _plan(book)
    lead, body = guide_text.render_guide("wiring")
    return render_template("wiring.html", title="Wiring", page="wiring", book=book, picture=Markup(wiring_picture.draw(plan)),
                           air=_air(book),
                           sentence=wiring_picture.describe(plan), lead=lead, body=body, chapters=guide_text.list_chapters("wiring"))


@guides.get("/starting-help")
def starting_help() -> str:
    """What to do when it will not start."""
    lead, body = guide_text.render_guide("starting-help")
    return render_template("guide.html", title="If it will not start", page="starting-help", book=books.open_if_readable(),
                           lead=lead, body=body)


@guides.get("/documents")
def list_documents() -> str:
    """Every document that came with this program."""
    rows = {heading: [(name, documents.title(name)) for name in row] for heading, row in documents.shelves().items() if row}
    return render_template("documents.html", title="Documents", page="documents", book=books.open_if_readable(), rows=rows)


@guides.get("/documents/<name>.png")
def document_picture(name: str) -> Response:
    """A picture in a document."""
    try:
        return Response(documents.read_picture(name), mimetype="image/png", headers={"Cache-Control": "public, max-age=3600"})
    except KeyError:
        abort(404)


@guides.get("/documents/<name>")
def document(name: str) -> str:
    """One document, as `ampledger docs` shows it."""
    try:
        title, body = guide_text.render_document(name)
    except KeyError:
        abort(404)
    return render_template("guide.html", title=title, page="documents", book=books.open_if_readable(), lead=body, body="")


@guides.get("/parked")
def parked() -> str:
    """How long it may stand, what to do before, and where the charge went after the last stay."""
    book = books.open_log_view()
    if book.now is None or book.vehicle is None:
        return render_template("words.html", title="Parked", page="parked", book=book, heading="Nothing has been concluded yet.",
                               text="How long the vehicle may stand shows once there are figures.", todo=())
    end_s = book.now.utc_s
    hours = book.hours(end_s - LOOK_BACK_S)
    given = {name: request.args.get(name, "").strip()[:12] for name in ("weeks", "temperature")}
    found, plan, refused = book.now.findings, None, ""
    try:
        plan = make_parking_plan(
            book.vehicle, found.starter.charge_frac, found.starter.drain_a, found.charge.charge_frac, found.charge.capacity_ah,
            found.loads.shares.base_a, found.loads.shares.harvest_ah_per_day, _number(given["weeks"], "weeks", 4.0),
            _number(given["temperature"], "temperature", parked_return.recent_c(hours, end_s - WARMTH_S)))
    except ValueError as error:
        refused = str(error)
    stay = parked_return.latest_stay(hours, book.vehicle)
    return render_template(
        "parked.html", title="Parked", page="parked", book=book, given=given, plan=plan, refused=refused, words=parked_words,
        stay=parked_words.describe_stay(stay) if stay else [], stay_from=clock_text(stay.from_utc_s) if stay else "")


def _number(text: str, name: str, usual: float) -> float:
    """A figure of a form. Raises ValueError."""
    try:
        return float(text.replace(",", ".")) if text else usual
    except ValueError:
        raise ValueError(f"{name} is {text!r}: write a number") from None


@guides.get("/circuits")
def circuits() -> str | Response:
    """The circuit sheet for what is asked in the address."""
    book = books.open_if_readable()
    given = {name: request.args.get(name, "").strip()[:40] for name in FIELDS}
    plan, refused = None, ""
    if any(given[name] for name in ("current", "length")):
        try:
            plan = design(_circuit(given), _supply(book, given["panel"] == "1"))
        except Refused as error:
            refused = str(error)
    if request.args.get("print") and (plan or refused):
        made = clock_text(book.now.utc_s, "%-d %b %Y") if book and book.now else ""
        return Response(words.format_page(Sheet((plan,) if plan else (), (refused,) if refused else ()), made), mimetype="text/html")
    return render_template(
        "circuits.html", title="Circuit sheet", page="circuits", book=book, given=given, plan=plan, refused=refused, caution=CAUTION,
        details=words.describe_plan(plan)[1:] if plan else [], kinds=KINDS, places=PLACES, layings=LAYINGS, insulations=INSULATIONS_C,
        printable=request.full_path + "&print=1")


#: Fields of the form on the page Circuit sheet.
FIELDS = ("name", "current", "length", "kind", "place", "laid", "insulation", "ambient", "bundle", "drop", "short", "panel")


def _circuit(given: dict[str, str]) -> Circuit:
    """The circuit of a form. Raises Refused where a figure is none."""
    def number(field: str, usual: float) -> float:
        text = given[field].replace(",", ".")
        try:
            return float(text) if text else usual
        except ValueError:
            raise Refused(f"{field} is {given[field]!r}: write a number") from None

    def whole(value: float) -> int:
        if not 1 <= value <= 1000 or value != int(value):
            raise Refused(f"bundle is {given['bundle']!r}: write a whole number of conductors, 1 to 60")
        return int(value)

    kind = given["kind"] or "load"
    if kind not in KINDS:
        raise Refused(f"kind is {kind!r}: it must be one of {', '.join(KINDS)}")
    return Circuit(
        given["name"] or "circuit", number("current", float("nan")), number("length", float("nan")), kind=kind,
        place=given["place"] or "cabin", laid=given["laid"] or "open", insulation_c=number("insulation", 70),
        ambient_c=number("ambient", 0) if given["ambient"] else None, loaded_count=whole(number("bundle", 2)),
        drop_pct=number("drop", 3), continuous=given["short"] != "1")


def _air(book: books.LogView | None) -> dict[str, object]:
    """The ventilation calculator: of what is asked in the address, else of this vehicle's house battery."""
    house = book.vehicle.house if book and book.vehicle else None
    chemistry = request.args.get("chemistry", house.chemistry if house and house.lead_acid else "flooded")[:10]
    text = request.args.get("capacity", f"{house.rated_capacity_ah:g}" if house else "100").strip()[:12]
    found: dict[str, object] = {"chemistry": chemistry, "capacity": text, "rows": [], "refused": ""}
    try:
        capacity_ah = float(text.replace(",", "."))
        found["rows"] = [(words_, ventilation.calculate_ventilation(capacity_ah, ventilation.gas_current(chemistry, boost)))
                         for words_, boost in (("at the charger's higher voltage", True), ("on float", False))]
    except ValueError as error:
        found["refused"] = str(error) if "could not convert" not in str(error) else f"capacity is {text!r}: write ampere-hours as a number"
    return found


def _supply(book: books.LogView | None, panel: bool) -> Supply:
    """The house battery of this vehicle, or one of which nothing is known."""
    vehicle = book.vehicle if book else None
    supply = source.UNKNOWN if vehicle is None else source.battery_supply("house battery", vehicle.house.chemistry,
        vehicle.house.rated_capacity_ah)
    return replace(supply, behind_main=True) if panel else supply


def _plan(book: books.LogView | None) -> WiringPlan:
    """What is wired here, as far as the log knows."""
    if book is None or book.vehicle is None:
        return WiringPlan()
    wired: Wiring = book.wiring()
    found = book.findings.join.build if book.findings else "unknown"
    return make_plan(wired, book.vehicle.charging, book.vehicle.isolator_follows, book.sources() or USUAL, found)
