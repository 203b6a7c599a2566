"""The circuit sheet as text, as data and as a page to print."""
from dataclasses import asdict
from html import escape
from importlib.resources import files
from typing import Any

from monitor.circuits.design import CAUTION, Plan, Run, Sheet

STYLE = (files("monitor.circuits") / "data" / "sheet.css").read_text(encoding="utf-8")
#: Headings of the table, for text, page and paper alike.
HEADINGS = ("circuit", "current", "one way", "fuse", "conductor", "American", "may carry", "copper at", "drop", "heat")


def format_row(plan: Plan) -> tuple[str, ...]:
    """One circuit in the columns of HEADINGS."""
    c, run = plan.circuit, plan.run
    fuse = f"{run.fuse.rating_a:g} A {run.fuse.kind}" + (", one at each battery" if plan.fuse_count == 2 else "")
    return (c.name, f"{c.current_a:g} A", f"{c.length_m:g} m", fuse, run.conductor,
        plan.american_run.conductor if plan.american_run else "–",
            f"{run.ampacity_a:.0f} A", f"{run.copper_c:.0f} °C", f"{run.drop_v:.2f} V, {run.drop_pct:.1f} %", f"{run.heat_w:.1f} W")


def describe_plan(plan: Plan) -> list[str]:
    """One circuit told in full: what to take, why, and what else to do."""
    c, run = plan.circuit, plan.run
    checked = bool(c.conductor)
    american = "" if plan.american_run is None else (
        f" In American sizes: {plan.american_run.conductor}, {plan.american_run.fuse.rating_a:g} A.")
    lines = [f"{c.name}: {run.conductor}{' is enough' if checked else ''}, fuse {run.fuse.rating_a:g} A ({run.fuse.kind}, breaks "
             f"{run.fuse.breaking_a / 1000:g} kA){' at each battery' if plan.fuse_count == 2 else ''}.{american}",
             f"  Carries {c.current_a:g} A over {c.length_m:g} m and back; may carry {run.ampacity_a:.0f} A there "
             f"({run.table_a:.0f} A in the table, {c.place}, {plan.air_c:g} °C air, insulation for {c.insulation_c:g} °C, "
             f"{c.loaded_count} loaded together, {c.laid}). {_describe_criterion(run)}",
             f"  At {c.current_a:g} A: copper {run.copper_c:.0f} °C, drop {run.drop_v:.2f} V ({run.drop_pct:.1f} "
             f"%{' with its feed' if plan.supply.drop_v else ''}, {c.drop_pct:g} % allowed), "
             f"{run.load_v:.2f} of 12 V arrive, {run.heat_w:.1f} W of heat in the cable.",
             f"  Short circuit: {plan.supply.short_circuit_a / 1000:.1f} kA at the fuse ({plan.supply.basis or plan.supply.name}), "
             f"{run.far_short_a:.0f} A at the far end: the fuse blows within 5 s."]
    if plan.relay is not None:
        make = f", and closing on {plan.relay.make_a:.0f} A" if plan.relay.make_a is not None else ""
        lines.append(f"  Relay or contactor: {plan.relay.continuous_a:g} A continuous{make}; breaking direct current of 16 V.")
    return lines + [f"  {note}" for note in plan.notes]


def _describe_criterion(run: Run) -> str:
    return {"ampacity": "Heat decides the size.", "drop": "The drop decides the size.",
            "short circuit": "A short circuit at the far end decides the size."}[run.decided_by]


def format_text(sheet: Sheet) -> str:
    """The whole sheet for a terminal."""
    lines: list[str] = []
    if len(sheet.plans) > 1:
        rows = [HEADINGS, *(format_row(plan) for plan in sheet.plans)]
        widths = [max(len(r[i]) for r in rows) for i in range(len(HEADINGS))]
        lines += ["  ".join(cell.ljust(width) for cell, width in zip(r, widths, strict=True)).rstrip() for r in rows] + [""]
    for plan in sheet.plans:
        lines += describe_plan(plan)
    lines += [*sheet.notes, *(f"Refused: {why}." for why in sheet.refused)]
    return "\n".join([*lines, CAUTION])


def as_data(sheet: Sheet) -> dict[str, Any]:
    """The whole sheet as plain data, units in the names."""
    return {"caution": CAUTION, "circuits": [asdict(plan) for plan in sheet.plans], "refused": list(sheet.refused),
        "notes": list(sheet.notes)}


def format_page(sheet: Sheet, made: str = "") -> str:
    """The sheet as one HTML file that needs nothing else, to print."""
    head = "".join(f"<th>{escape(h)}</th>" for h in HEADINGS)
    body = "".join("<tr>" + "".join(f'<td data-is="{escape(h)}">{escape(cell)}</td>' for h, cell in zip(HEADINGS, format_row(plan),
        strict=True)) + "</tr>"
                   for plan in sheet.plans)
    details = "".join(f"<section><h2>{escape(plan.circuit.name)}</h2>"
                      + "".join(f"<p>{escape(line.strip().removeprefix(plan.circuit.name + ': '))}</p>" for line in describe_plan(plan))
                      + "</section>"
                      for plan in sheet.plans)
    refused = "".join(f"<p class=refused><b>Refused.</b> {escape(why)}.</p>" for why in sheet.refused)
    notes = "".join(f"<p>{escape(note)}</p>" for note in sheet.notes)
    return (f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, '
            f'initial-scale=1">'
            f"<title>Circuit sheet · "
            f"ampledger</title><style>{STYLE}</style></head><body><main><header><b>ampledger</b><span>{escape(made)}</span></header>"
            f"<h1>Circuit sheet</h1><p "
            f"class=caution>{escape(CAUTION)}</p>{refused}<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
            f"{notes}{details}<p class=caution>{escape(CAUTION)}</p></main></body></html>\n")
