"""The fleet's pages: vehicles by what needs attention, alerts, batteries by model and delivery, and what is known of a vehicle."""
import time
from datetime import date
from typing import Any

from flask import Blueprint, Response, abort, current_app, g, redirect, render_template, request, url_for

from dashboard import guard, picture
from dashboard.fleet import door, drawings
from dashboard.words import age_words, clock_text
from monitor.alerts.rules import RANK, Alert
from monitor.findings import Estimate
from monitor.fleet import batteries, database, keys, overview
from monitor.fleet.database import insert_of
from monitor.fleet.tables import seen_by
from monitor.reporting import life_words
from monitor.reporting.sentences import number
from monitor.store import saving

pages = Blueprint("fleet", __name__)
#: How the list says why a vehicle is where it is.
NEED_WORDS = {"high": "Now", "replace": "Battery", "refused": "Turned away", "medium": "Soon", "silent": "Silent", "watch": "Watch",
              "low": "Note", "": ""}


@pages.get("/")
def vehicles() -> str:
    """Every vehicle in a line, those that need somebody at the top."""
    with database.reading(current_app.config["ENGINE"]) as connection:
        lines = overview.list_vehicles(connection, time.time())
    asking = sum(line.urgency >= overview.URGENCY["medium"] for line in lines)
    lead = "No vehicle is enrolled yet." if not lines else "No vehicle needs anybody now." if not asking else (
        "One vehicle needs somebody." if asking == 1 else f"{asking} vehicles need somebody.")
    rows = [_line(line) for line in lines]
    return render_template("vehicles.html", title="Fleet", page="fleet", lead=lead, asking=[row for row in rows if row["need"]],
                           quiet=[row for row in rows if not row["need"]])


@pages.get("/alerts")
def alerts() -> str:
    """Alerts that hold now, the most urgent first."""
    with database.reading(current_app.config["ENGINE"]) as connection:
        found = overview.open_alerts(connection)
    rows: list[dict[str, Any]] = []
    for one in found:
        try:
            alert = saving.from_text(Alert, one.row[4])
        except ValueError:
            continue
        rows.append({"vehicle": one.vehicle, "id": alert.id, "line": one.line, "alert": alert,
                     "seen": f"Seen by {one.seen_by}, {clock_text(one.seen_utc_s)}" if one.seen_by and one.seen_utc_s else ""})
    rows.sort(key=lambda row: (bool(row["seen"]), -RANK[row["alert"].priority], row["vehicle"]))
    unseen = sum(not row["seen"] for row in rows)
    lead = "No alert holds now." if not rows else f"{unseen} of {len(rows)} alerts were not seen yet." if unseen else (
        "All alerts that hold were seen.")
    return render_template("fleet_alerts.html", title="Alerts", page="alerts", lead=lead, rows=rows)


@pages.post("/alerts/<name>/<int:number>/seen")
@door.needs("acknowledge")
def seen(name: str, number: int) -> Response:
    """Keeps who has seen an alert, and when; on the vehicle's own board it stays open."""
    with current_app.config["ENGINE"].begin() as connection:
        vehicle = _find(connection, name)
        connection.execute(insert_of(connection, seen_by).values(
            vehicle_id=vehicle.id, line=vehicle.line, alert_id=number, by=g.person, at_utc_s=time.time()).on_conflict_do_nothing())
    return redirect(url_for("fleet.alerts"), 303)  # type: ignore[return-value]


@pages.get("/batteries")
def battery_groups() -> str:
    """House batteries by model and delivery."""
    with database.reading(current_app.config["ENGINE"]) as connection:
        groups = batteries.group_batteries(connection, time.time())
    shown = []
    for group in groups:
        steps = batteries.survival(group.services)
        shown.append({
            "group": group, "ended": sum(s.ended for s in group.services), "steps": steps,
            "by_age": picture.draw(drawings.capacity_by_age(group.points)) if group.points else "",
            "by_throughput": picture.draw(drawings.capacity_by_throughput(group.points)) if group.points else "",
            "survival": picture.draw(drawings.survival_figure(steps)) if steps else ""})
    return render_template("batteries.html", title="Batteries", page="batteries", shown=shown)


@pages.get("/about/<name>")
def vehicle(name: str) -> str:
    """What the fleet knows of a vehicle beside its log."""
    with database.reading(current_app.config["ENGINE"]) as connection:
        row = _find(connection, name)
    return render_template("vehicle.html", title=name, page="", row=row, when=clock_text, noted=request.args.get("told", ""))


@pages.post("/about/<name>")
@door.needs("administer")
def describe(name: str) -> Response | tuple[str, int]:
    """Keeps model, delivery and dates of a vehicle's house battery."""
    values: dict[str, Any] = {field: request.form.get(field, "").strip()[:80] for field in ("model", "delivery", "note")}
    for field, word in (("fitted_on", "fitted"), ("ended_on", "taken out")):
        text = request.form.get(field, "").strip()
        try:
            values[field] = date.fromisoformat(text) if text else None
        except ValueError:
            return render_template("words.html", title="Not done", heading="Nothing was changed.",
                                   text=f"{text[:20]!r} is no day on which a battery was {word}; write it as 2026-05-31."), 400
    if values["fitted_on"] and values["ended_on"] and values["ended_on"] < values["fitted_on"]:
        return render_template("words.html", title="Not done", heading="Nothing was changed.",
                               text="The battery cannot have been taken out before it was fitted."), 400
    with current_app.config["ENGINE"].begin() as connection:
        _find(connection, name)
        keys.describe(connection, name, values)
    return redirect(url_for("fleet.vehicle", name=name, told="Kept."), 303)  # type: ignore[return-value]


@pages.route("/sign-in", methods=["GET", "POST"])
def sign_in() -> Any:
    """Asks for a name and its code."""
    return _sign_in() if request.method == "POST" else render_template("sign_in.html", title="Sign in", page="", wrong="")


@guard.own_form
def _sign_in() -> Any:
    wrong = door.enter(request.form.get("name", "").strip(), request.form.get("code", "").strip())
    if wrong:
        return render_template("sign_in.html", title="Sign in", page="", wrong=wrong), 403
    return redirect(url_for("fleet.vehicles"), 303)


@pages.post("/sign-out")
@guard.own_form
def sign_out() -> Response:
    """Ends this browser's session."""
    return door.leave()


def _find(connection: Any, name: str) -> Any:
    try:
        return keys.find(connection, name)
    except keys.NoVehicle:
        abort(404)


def _line(line: overview.VehicleLine) -> dict[str, Any]:
    row = line.row
    return {
        "name": line.name, "need": NEED_WORDS[line.need], "kind": line.need, "sentence": line.sentence, "simulated": bool(row.simulated),
        "charge": _three(row.charge_frac, row.charge_low_frac, row.charge_high_frac),
        "capacity": _three(row.capacity_frac, row.capacity_low_frac, row.capacity_high_frac),
        "starter": "" if row.starter_v is None else f"{number(row.starter_v, 2)} V",
        "years": "" if row.years is None else life_words.describe_years(Estimate(row.years, row.years_low, row.years_high, "learnt")),
        "verdict": "" if row.verdict in (None, "", "not enough evidence") else row.verdict,
        "drain": "" if row.drain_a is None else f"{number(1000 * max(row.drain_a, 0.0))} mA",
        "refused": row.refused if line.need not in ("", "refused") else "",
        "seen": "never heard from" if row.seen_utc_s is None else f"last heard {age_words(max(time.time() - row.seen_utc_s, 0.0))}"}


def _three(value: float | None, low: float | None, high: float | None) -> tuple[str, str]:
    if value is None or low is None or high is None:
        return "", ""
    return f"{100 * value:.0f} %", f"{100 * low:.0f} to {100 * high:.0f}"
