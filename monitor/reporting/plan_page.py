"""The plan as one HTML file to print: the trip, the systems side by side, and of one of them parts, circuits and drawing."""
from collections.abc import Sequence
from html import escape

from monitor.circuits import words as circuit_words
from monitor.circuits.design import CAUTION, Sheet
from monitor.guides import wiring_picture
from monitor.parameters import table
from monitor.planning.load_catalogue import Load
from monitor.planning.plan import DRAWS, PER, Drawn, PlanResult
from monitor.planning.plan_circuits import design_circuits, list_parts, picture_plan
from monitor.planning.trip import describe_trip
from monitor.reporting import plan_words as words

STYLE = circuit_words.STYLE + "\nsvg{width:100%;height:auto}.drawing svg{max-width:460px}h2{margin-top:.8rem}\n"
P = table("reporting", "plan_page")
WIDTH, ROW = P.count("width_px"), P.count("row_px")
PLAN_CAUTION = ("A plan by published figures and usual values, not a promise. Lithium needs chargers set for it and must not be charged in "
                "frost; gas of lead-acid needs air. Local codes and licensed practice have the last word.")


def format_page(drawn: Drawn, results: Sequence[PlanResult], chosen: PlanResult, most_short_frac: float, made: str = "") -> str:
    """The whole plan.

    drawn: the trip; results: the systems; chosen: whose parts and circuits are listed; most_short_frac: share of the nights that may
    be short; made: when, for the corner.
    """
    sheet = design_circuits(chosen.candidate, drawn.loads)
    parts = "".join(f"<tr><td>{escape(count)}</td><td>{escape(what)}</td></tr>" for count, what in list_parts(chosen.candidate, sheet))
    notes = "".join(f"<p>{escape(line)}</p>" for line in words.describe(chosen))
    climate = "".join(f"<p>{escape(line)}</p>" for line in words.climate_lines(drawn))
    loads = "".join(f"<tr><td>{escape(load.name)}</td><td>{escape(describe_load(load))}</td><td>{escape(load.source)}</td></tr>"
                    for load in drawn.loads)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Plan · ampledger</title><style>{STYLE}</style></head><body><main>"
        f"<header><b>ampledger</b><span>{escape(made)}</span></header><h1>{escape(words.lead(results, most_short_frac))}</h1>"
        f"<p>{escape(describe_trip(drawn.trip))}.</p><p class=caution>{escape(PLAN_CAUTION)}</p>"
        f"<h2>Side by side</h2>{_table(results)}<p>Counts are per {PER} nights; in brackets the 95 % range over {DRAWS} ways in which the "
        f"trip may turn out.</p>{draw_nights(results)}"
        f"<section><h2>{escape(chosen.candidate.name)}</h2>{notes}</section>"
        f"<section><h2>Parts</h2><table><thead><tr><th>how much</th><th>what</th></tr></thead><tbody>{parts}</tbody></table></section>"
        f"<section><h2>Circuits</h2>{_circuits(sheet)}</section>"
        f'<section class="drawing"><h2>Drawing</h2>{wiring_picture.draw(picture_plan(chosen.candidate))}</section>'
        f"<section><h2>Loads</h2><table><thead><tr><th>load</th><th>taken as</th><th>source</th></tr></thead><tbody>{loads}</tbody></table>"
        f"</section><section><h2>Sun and air</h2>{climate}</section>"
        f"<p class=caution>{escape(CAUTION)}</p></main></body></html>\n")


def describe_load(load: Load) -> str:
    """How a load is taken.

    >>> from monitor.planning.load_catalogue import parse_load
    >>> describe_load(parse_load("laptop"))
    '45 W, 2.5 h a day'
    """
    if load.hourly_w is not None:
        return f"{sum(load.hourly_w):.0f} Wh a day, by its hours"
    if load.slope_wh_per_k is not None:
        return f"{load.wh_per_day:.0f} Wh a day at {load.at_c:.0f} °C, {load.slope_wh_per_k:+.0f} Wh a kelvin, as the log shows"
    if load.is_fridge:
        use = f", {load.wh_per_day:.0f} Wh a day at {load.at_c:.0f} °C" if load.wh_per_day is not None else ""
        return f"{load.volume_l:.0f} l, {load.set_c:g} °C inside{use}; follows the heat"
    when = {"dark": "from sunset to bedtime", "cold": "the colder, the longer", "hot": "when the cabin is hot"}.get(load.when)
    return f"{load.power_w:g} W, " + (when if load.hours_per_day is None and when else f"{load.hours_per_day or 24.0:g} h a day")


def _table(results: Sequence[PlanResult]) -> str:
    headings = list(words.HEADINGS) + (["price"] if any(r.candidate.price is not None for r in results) else [])
    head = "".join(f"<th>{escape(h)}</th>" for h in ("system", *headings))
    body = ""
    for result in results:
        found = dict(words.cells(result))
        body += f'<tr><td data-is="system">{escape(result.candidate.name)}</td>' + "".join(
            f'<td data-is="{escape(h)}">{escape(found.get(h, "–"))}</td>' for h in headings) + "</tr>"
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _circuits(sheet: Sheet) -> str:
    head = "".join(f"<th>{escape(h)}</th>" for h in circuit_words.HEADINGS)
    body = "".join("<tr>" + "".join(f'<td data-is="{escape(h)}">{escape(cell)}</td>' for h, cell in zip(
        circuit_words.HEADINGS, circuit_words.format_row(plan), strict=True)) + "</tr>" for plan in sheet.plans)
    refused = "".join(f"<p class=refused><b>Refused.</b> {escape(why)}.</p>" for why in sheet.refused)
    return f"{refused}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def draw_nights(results: Sequence[PlanResult]) -> str:
    """Nights short of each system with their ranges, as SVG."""
    height, scale = ROW * len(results) + 24, (WIDTH - 20) / PER
    rows = []
    for k, result in enumerate(results):
        y, found = ROW * k + 24, result.nights_below
        rows.append(f'<text x="6" y="{y - 9}" font-size="12">{escape(result.candidate.name[:60])}</text>'
                    f'<path d="M{6 + scale * found.low:.1f} {y}H{6 + scale * max(found.high, found.low + 0.2):.1f}" '
                    'stroke="#46564b" stroke-width="3"/>'
                    f'<circle cx="{6 + scale * found.value:.1f}" cy="{y}" r="5" fill="#14211a"/>')
    ticks = "".join(f'<text x="{6 + scale * n:.0f}" y="{height - 3}" font-size="11" text-anchor="middle">{n}</text>'
                    for n in range(0, PER + 1, 5))
    return (f'<svg viewBox="0 0 {WIDTH} {height}" style="max-width:{WIDTH}px" role="img" aria-label="Nights short in {PER}">'
            + "".join(rows) + ticks + "</svg>")
