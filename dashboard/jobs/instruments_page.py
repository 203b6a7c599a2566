"""Page Instruments: what they show at this moment, and each measuring step of set-up; the daemon measures, and keeps what it finds."""
from typing import Any

from flask import current_app, jsonify, render_template, request
from werkzeug.wrappers import Response

from dashboard import actions, guard
from dashboard import log_view as books
from dashboard.jobs.asking import describe_asking, read_number
from dashboard.jobs.blueprint import jobs
from dashboard.words import QUANTITIES
from monitor.commissioning import steps
from monitor.findings import Z95
from monitor.logbook import live_readings
from monitor.reporting.sentences import number, sentence

#: The latest readings that a comparison is made with, and how long something was on before they are taken for it [s].
LATEST_S, BEFORE_S = 60.0, 600.0
#: Fewer readings are not compared.
LEAST_READINGS = 5
VOLTAGES = {"house": "house_voltage_v", "starter": "starter_voltage_v"}
#: A divider that is off by less needs nothing: a multimeter is no better.
FINE_FRAC = 0.005


@jobs.get("/instruments")
def instruments() -> Any:
    """Readings, the steps, and what a comparison says, where one was asked for."""
    book = books.open_log_view()
    if book.now is None:
        return _blank(book)
    try:
        said = _compare(book)
    except ValueError as error:
        return _page(book, wrong=sentence(error)), 400
    return _page(book, said=said)


@jobs.post("/instruments/zero")
@guard.own_form
def measure_zero() -> Any:
    """Leaves word that everything is off."""
    return actions.leave("calibrate_zero", {"minutes": 2.0}, to="instruments")


@jobs.post("/instruments/gain")
@guard.own_form
def measure_gain() -> Any:
    """Leaves word what a clamp meter shows."""
    book = books.open_log_view()
    if book.now is None:
        return _blank(book)
    try:
        meter_a = read_number(request.form.get("meter_a", ""), "clamp meter", -1000, 1000)
        if meter_a is None:
            raise ValueError("type what the clamp meter shows, in amperes")
    except ValueError as error:
        return _page(book, wrong=sentence(error)), 400
    digit_a = steps.compare_reading(request.form.get("meter_a", "")).digit
    return actions.leave("calibrate_gain", {"meter_a": meter_a, "digit_a": digit_a, "limit_frac": steps.METER_A_FRAC, "minutes": 1.0},
                         to="instruments")


@jobs.post("/instruments/divider")
@guard.own_form
def measure_divider() -> Any:
    """Leaves word what a multimeter shows at a battery's posts."""
    book = books.open_log_view()
    if book.now is None:
        return _blank(book)
    try:
        battery = request.form.get("battery", "")
        if battery not in VOLTAGES:
            raise ValueError("say which battery it is: house or starter")
        meter = steps.compare_reading(request.form.get("meter_v", ""))
        if request.form.get("only"):
            return _page(book, said=_compare_voltage(book, battery, request.form["meter_v"]))
    except ValueError as error:
        return _page(book, wrong=sentence(error)), 400
    return actions.leave("calibrate_divider", {"battery": battery, "meter_v": meter.value, "digit_v": meter.digit,
                                               "limit_frac": steps.METER_V_FRAC}, to="instruments")


@jobs.post("/instruments/direction")
@guard.own_form
def measure_direction() -> Any:
    """Leaves word that a load, or a charger, was switched on."""
    return actions.leave("calibrate_direction", {"discharging": int(request.form.get("direction") != "charger")}, to="instruments")


@jobs.post("/instruments/which")
@guard.own_form
def identify() -> Any:
    """Leaves word that the engine was started."""
    return actions.leave("identify_by_start", {}, to="instruments")


@jobs.get("/instruments/readings")
def readings() -> Response:
    """What the instruments show at this moment, for the page; empty where only the log's latest minute is known."""
    found = live_readings.read(current_app.config["DATABASE"])
    shown = {} if found is None else {name: _format_value(name, value) for name, value in found.values.items()}
    shown |= {} if found is None else {name: f"{number(value, 3)} V at the channel" for name, value in found.at_pin.items()}
    return jsonify(shown)


def _compare(book: books.LogView) -> str:
    """What a multimeter at the posts says of an instrument; "" where nothing was asked.

    Raises
    ------
    ValueError : it cannot be told; one sentence
    """
    if request.args.get("under_load_v") is not None:
        return _compare_lead(book, request.args["under_load_v"])
    if (battery := request.args.get("battery")) is not None:
        return _compare_voltage(book, battery, request.args.get("meter_v", ""))
    return ""


def _compare_voltage(book: books.LogView, battery: str, typed: str) -> str:
    if battery not in VOLTAGES:
        raise ValueError("say which battery it is: house or starter")
    shown = steps.show_reading(_latest(book, VOLTAGES[battery], LATEST_S))
    found = steps.voltage_factor(steps.compare_reading(typed), shown)
    off = f"{number(100 * (found.value - 1), 1)} %"
    doubt = f"{number(100 * Z95 * found.sigma / found.value, 1)} %"
    if abs(found.value - 1) <= max(FINE_FRAC, Z95 * found.sigma):
        return (f"The {battery} voltage is right: {shown.mean:.2f} V here, {typed.strip()} V at the posts, within what a multimeter can "
                "tell.")
    return (f"The {battery} voltage reads {shown.mean:.2f} V and the posts have {typed.strip()} V: {off} off, give or take {doubt}. "
            "\"Compare and keep\" puts it right.")


def _compare_lead(book: books.LogView, typed: str) -> str:
    """What is lost between the house battery's posts and the instrument, with a load on."""
    sensor = book.known.vehicle.current_sensor
    amps = steps.show_reading([sensor.corrected_a(a) for a in _latest(book, "house_current_a", LATEST_S)])
    found = steps.lead_ohm(steps.compare_reading(typed), steps.show_reading(_latest(book, VOLTAGES["house"], LATEST_S)), amps)
    said = f"With {number(-amps.mean, 1)} A drawn, {number(-1000 * amps.mean * found.value, 0)} mV are lost on the way to the instrument"
    return said + ("; the lead shares a way with the load or has a bad joint: take a thin fused lead of its own straight to the posts."
                   if steps.is_lossy(found) else "; that is in order.")


def _latest(book: books.LogView, quantity: str, for_s: float) -> list[float]:
    end_s = book.known.utc_s + 120.0
    found = [(at_s, value) for at_s, sample in book.readings(book.known.utc_s - BEFORE_S, end_s)
             if (value := getattr(sample, quantity)) is not None]
    late = [value for at_s, value in found if at_s > found[-1][0] - for_s]
    return late if len(late) >= LEAST_READINGS else [value for _, value in found[-LEAST_READINGS:]]  # some instruments are slow


def _format_value(quantity: str, value: float) -> str:
    _, unit, digits = QUANTITIES.get(quantity, ("", "", 2))
    return f"{number(value, digits)} {unit}".strip()


def _page(book: books.LogView, said: str = "", wrong: str = "") -> str:
    sources, live = book.sources(), live_readings.read(current_app.config["DATABASE"])
    at_pin = live.at_pin if live is not None else {}
    rows = []
    for name, (label, *_) in QUANTITIES.items():
        value = live.values.get(name) if live is not None and name in live.values else getattr(book.latest, name)
        if name in at_pin:
            rows.append((name, label, f"{number(at_pin[name], 3)} V at the channel", "its divider is not known yet: compare it below"))
        elif value is not None or name in sources:
            rows.append((name, label, "–" if value is None else _format_value(name, value), sources.get(name, "")))
    sensor = book.known.vehicle.current_sensor
    return render_template(
        "instruments.html", title="Instruments", page="instruments", book=book, rows=rows, said=said, wrong=wrong, sensor=sensor,
        now={name: shown for name, _, shown, _ in rows},
        zero=f"{sensor.offset_a:+.3f} A (give or take {Z95 * sensor.offset_sigma_a:.3f})",
        gain=f"{sensor.gain:.4f} (give or take {number(100 * Z95 * sensor.gain_sigma_frac, 1)} %)", places=tuple(VOLTAGES),
        **describe_asking(book, "instruments", "shunt", "house voltage", "starter voltage", "names of the batteries"))


def _blank(book: books.LogView) -> str:
    return render_template("words.html", title="Instruments", page="instruments", book=book, heading="Nothing has been measured yet.",
                           text="Come back after the first minute, or let every instrument be read once: ampledger check.", todo=())
