"""The fan of the coming 36 hours: what may be left, the reserve, night and the sun's return."""
from collections.abc import Sequence

from dashboard.charts import Clock, Figure, band, ground, level, line, note, sheet, tick, upright
from dashboard.palette import Palette
from monitor.findings import ChargeFindings, Estimate, ForecastFindings

HOURS = 36


def figure(
    forecast: ForecastFindings, charge: ChargeFindings, issued_utc_s: float, reserve_frac: float,
    nights: Sequence[tuple[float, float]], past: Sequence[tuple[float, float | None]], clock: Clock, palette: Palette,
) -> Figure:
    """The figure of page Tonight.

    issued_utc_s : when the forecast was made
    nights : from and to of every night in sight [s from issue]
    past : (UTC seconds, charge fraction) of the hours before, None for a gap
    """
    now = clock(issued_utc_s)
    end = clock(issued_utc_s + HOURS * 3600)
    begin = clock(past[0][0]) if past else now
    traces = []
    if past:
        traces.append(line([clock(t) for t, _ in past], [tick(v, 1, 100) for _, v in past], "y", palette.ink, "was",
                           hovertemplate="was %{y:.0f} %<extra></extra>"))
    fan = [(0.0, *_start(charge)), *forecast.fan] if isinstance(charge.charge_frac, Estimate) else list(forecast.fan)
    if fan:
        x = [clock(issued_utc_s + at_s) for at_s, *_ in fan]
        low, middle, high = ([tick(row[i], 1, 100) for row in fan] for i in (1, 2, 3))
        traces += band(x, low, high, "y", palette.received_band, "8 in 10 lie here")
        traces.append(line(x, middle, "y", palette.received, "middle", customdata=list(zip(low, high)),
                           hovertemplate="about %{y:.0f} %, %{customdata[0]:.0f} to %{customdata[1]:.0f}<extra></extra>"))
    shapes = [ground(clock(issued_utc_s + a), clock(issued_utc_s + b), palette.dusk) for a, b in nights]
    shapes += [level(100 * reserve_frac, "y", palette.spent), upright(now, palette.faint, "solid")]
    notes = [note(f"reserve {100 * reserve_frac:.0f} %", 1, 100 * reserve_frac, "y", palette, xanchor="right",
                  font={"color": palette.spent, "size": 14}),
             note("now", now, 1, "paper", palette, xref="x", xanchor="center")]
    if forecast.sun_back_in_s is not None and forecast.sun_back_in_s < HOURS * 3600:
        back = clock(issued_utc_s + forecast.sun_back_in_s)
        shapes.append(upright(back, palette.starter))
        notes.append(note("sun carries", back, 1, "paper", palette, xref="x", xanchor="center",
                          font={"color": palette.starter, "size": 14}))
    return {"data": traces, "layout": sheet(
        palette, 340, {"xaxis": {"range": [begin, end]},
                       "yaxis": {"range": [0, 102], "ticksuffix": " %", "tickvals": [0, 25, 50, 75, 100]}},
        shapes=shapes, annotations=notes, margin={"l": 52, "r": 8, "t": 28, "b": 36})}


def _start(charge: ChargeFindings) -> tuple[float, float, float]:
    held = charge.charge_frac
    assert isinstance(held, Estimate)
    # The fan is an 80 % band, the estimate a 95 % interval of the normal: 1.2816 / 1.9600.
    part = 0.654
    return held.value - part * (held.value - held.low), held.value, held.value + part * (held.high - held.value)


def nights(solar_hour: float | None, rises: float | None, leaves: float | None) -> tuple[tuple[float, float], ...]:
    """From and to of every night within the coming hours [s from now], by the hours the log has taught.

    solar_hour : now, on the vehicle's own solar clock
    rises, leaves : when the sun comes and goes on it [solar hour]; without them no night is drawn

    >>> nights(21.0, 6.5, 18.5)
    ((-9000.0, 34200.0), (77400.0, 120600.0))
    """
    if solar_hour is None or rises is None or leaves is None:
        return ()
    found = []
    for day in (-1, 0, 1):
        start, stop = 24 * day + leaves - solar_hour, 24 * (day + 1) + rises - solar_hour
        if stop > -12 and start < HOURS:
            found.append((3600 * start, 3600 * min(stop, HOURS)))
    return tuple(found)
