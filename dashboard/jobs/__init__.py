"""Pages for jobs that are not a look at the figures: each the face of a command, reached from the page More."""
from flask import Flask

from dashboard.jobs.blueprint import jobs


def install(app: Flask) -> None:
    """Gives app these pages."""
    from dashboard.jobs import (  # noqa: F401 - they register themselves
        battery_page,
        board_page,
        capacity_page,
        download_page,
        instruments_page,
        label_page,
        loads_page,
        more_page,
        plan_page,
        report_page,
        second_battery_page,
        what_if_page,
    )

    app.register_blueprint(jobs)
