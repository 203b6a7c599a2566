"""Page Instruments: what they show, and the single steps of set-up: zero and gain by the daemon, divider and direction looked at."""
from statistics import fmean
from typing import Any

from flask import render_template, request

from dashboard import actions, guard
from dashboard import log_view as books
from dashboard.jobs import jobs
from dashboard.jobs.asking import describe_asking, read_number
from dashboard.words import QUANTITIES
from monitor.commissioning import steps
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


def _compare(book: books.LogView) -> str:
    """What a multimeter at the posts, or a load that was switched on, says of an instrument; "" where nothing was asked.

    Raises
    ------
    ValueError : it cannot be told; one sentence
    """
    if (battery := request.args.get("battery")) is not None:
        return _compare_voltage(book, battery, request.args.get("meter_v", ""))
    if request.args.get("direction") is not None:
        return _look_at_direction(book, request.args.get("direction") != "charger")
    return ""


def _compare_voltage(book: books.LogView, battery: str, typed: str) -> str:
    if battery not in VOLTAGES:
        raise ValueError("say which battery it is: house or starter")
    shown = steps.show_reading(_latest(book, VOLTAGES[battery], LATEST_S))
    found = steps.voltage_factor(steps.compare_reading(typed), shown)
    off = f"{number(100 * (found.value - 1), 1)} %"
    doubt = f"{number(196 * found.sigma / found.value, 1)} %"
    if abs(found.value - 1) <= max(FINE_FRAC, 1.96 * found.sigma):
        return (f"The {battery} voltage is right: {shown.mean:.2f} V here, {typed.strip()} V at the posts, within what a multimeter can "
                "tell.")
    return (f"The {battery} voltage reads {shown.mean:.2f} V and the posts have {typed.strip()} V: {off} off, give or take {doubt}. "
            f"Multiply the ratio or scale of {VOLTAGES[battery]} in the configuration by {found.value:.4f}, or run "
            "`sudo ampledger setup divider`.")


def _look_at_direction(book: books.LogView, discharging: bool) -> str:
    now = fmean(_latest(book, "house_current_a", 10.0) or [0.0])
    if not _latest(book, "house_current_a", BEFORE_S):
        raise ValueError("the house current is not measured")
    turn = steps.direction(now, None, discharging)
    what = "a load" if discharging else "a charger"
    if turn > 0:
        return f"The current counts the right way: {number(now, 1)} A with {what} on, positive into the battery."
    return (f"The current counts the wrong way: {number(now, 1)} A with {what} on. Write scale = -1 at house_current_a in the "
            "configuration (change its sign where there is a scale already), or run `sudo ampledger setup direction`.")


def _latest(book: books.LogView, quantity: str, for_s: float) -> list[float]:
    end_s = book.known.utc_s + 120.0
    found = [(at_s, value) for at_s, sample in book.readings(book.known.utc_s - BEFORE_S, end_s)
             if (value := getattr(sample, quantity)) is not None]
    late = [value for at_s, value in found if at_s > found[-1][0] - for_s]
    return late if len(late) >= LEAST_READINGS else [value for _, value in found[-LEAST_READINGS:]]  # some instruments are slow


def _page(book: books.LogView, said: str = "", wrong: str = "") -> str:
    sources, rows = book.sources(), []
    for name, (label, unit, digits) in QUANTITIES.items():
        value = getattr(book.latest, name)
        if value is not None or name in sources:
            rows.append((label, "–" if value is None else f"{number(value, digits)} {unit}".strip(), sources.get(name, "")))
    sensor = book.known.vehicle.current_sensor
    return render_template(
        "instruments.html", title="Instruments", page="instruments", book=book, rows=rows, said=said, wrong=wrong, sensor=sensor,
        zero=f"{sensor.offset_a:+.3f} A (give or take {1.96 * sensor.offset_sigma_a:.3f})",
        gain=f"{sensor.gain:.4f} (give or take {number(196 * sensor.gain_sigma_frac, 1)} %)", places=tuple(VOLTAGES),
        **describe_asking(book, "instruments", "shunt"))


def _blank(book: books.LogView) -> str:
    return render_template("words.html", title="Instruments", page="instruments", book=book, heading="Nothing has been measured yet.",
                           text="Come back after the first minute, or let every instrument be read once: ampledger check.", todo=())
