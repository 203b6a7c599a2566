"""Page More: every job by the question that leads to it, one tap away."""
from flask import render_template

from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs

#: heading -> (question, what is found there, endpoint)
QUESTIONS = {
    "At camp": (
        ("How do I read all this?", "The guide for travellers, by question, and all documents", "guides.list_documents"),
        ("Will it last the night?", "Tonight: the coming 36 hours, and what you can do", "pages.tonight"),
        ("It will not start", "Starting help, step by step", "guides.starting_help"),
        ("What took the charge?", "Loads: fridge, heater, laptop by the names you give", "jobs.loads"),
        ("What was it like last night?", "Log: any span, hour by hour", "pages.log"),
        ("How long may it stand?", "Parked: drain, and what to do before", "guides.parked"),
    ),
    "The batteries": (
        ("Is the battery finished?", "Health: verdict, evidence, wear", "pages.health"),
        ("What do I buy?", "What if: other batteries and panels over your own weeks", "jobs.what_if"),
        ("What does this label say?", "Label: codes and ratings part by part, and whether it fits", "jobs.label"),
        ("What does a trip need?", "Plan: battery, panel and charging for places and months", "jobs.plan"),
        ("Do I need two?", "Second battery: how long one feeds the camp and still starts the engine", "jobs.second_battery"),
        ("How much does it still hold?", "Capacity test, guided from full to empty", "jobs.capacity_test"),
        ("I put in a new one", "New battery: record it, compare it with the old one", "jobs.battery"),
        ("What do I show the workshop?", "Report: one file to open, print or send", "jobs.report"),
    ),
    "Wiring": (
        ("Where does it connect?", "Wiring, with the picture of this vehicle", "guides.wiring"),
        ("Which cable and fuse?", "Circuit sheet, to print", "guides.circuits"),
    ),
    "This board": (
        ("Is an instrument right?", "Instruments: readings, zero, gain, divider, direction", "jobs.instruments"),
        ("Is the board well?", "Copies, card, clock, test message", "jobs.board"),
        ("Can I trust the figures?", "About: instruments, gaps, the clock, versions", "pages.about"),
        ("I want the figures in a spreadsheet", "Download: any span as CSV", "jobs.download"),
        ("I want them in a program", "JSON, described by OpenAPI; OpenMetrics at /metrics, events at /stream", "api.openapi"),
    ),
}


@jobs.get("/more")
def more():
    """All jobs by question. There even when the log cannot be read."""
    return render_template("more.html", title="More", page="more", book=books.open_if_readable(), questions=QUESTIONS)
