"""The fan of the coming 36 hours: what may be left, the reserve, night and the sun's return."""
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from dashboard.charts import Clock, Figure, band, ground, level, line, note, rounded, sheet, upright
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
    forecast : the latest
    charge : where it starts
    reserve_frac : charge that is to stay, 0 to 1
    clock : how moments are shown
    palette : colours of the page
    """
    begin, now, end = clock([past[0][0] if past else issued_utc_s, issued_utc_s, issued_utc_s + HOURS * 3600])
    traces = []
    if past:
        traces.append(line(clock([t for t, _ in past]), rounded([v for _, v in past], 1, 100), "y", palette.ink, "was",
                           hovertemplate="was %{y:.0f} %<extra></extra>"))
    fan = [(0.0, *_start(charge)), *forecast.fan] if isinstance(charge.charge_frac, Estimate) else list(forecast.fan)
    if fan:
        x = clock([issued_utc_s + at_s for at_s, *_ in fan])
        low, middle, high = (rounded([row[i] for row in fan], 1, 100) for i in (1, 2, 3))
        traces += band(x, low, high, "y", palette.received_band, "80 % range")
        traces.append(line(x, middle, "y", palette.received, "likely", customdata=list(zip(low, high, strict=True)),
                           hovertemplate="about %{y:.0f} %, %{customdata[0]:.0f} to "
                                          "%{customdata[1]:.0f}<extra></extra>"))
    shapes = [ground(clock([issued_utc_s + a, issued_utc_s + b]), palette.dusk) for a, b in nights]
    shapes += [level(100 * reserve_frac, "y", palette.spent), upright(now, palette.faint, "solid")]
    stops_frac = forecast.fridge_stops_frac
    notes = [note(f"your reserve {100 * reserve_frac:.0f} %", 1, 100 * reserve_frac, "y", palette, xanchor="right",
                  font={"color": palette.spent, "size": 14}),
             note("now", now, 1, "paper", palette, xref="x", xanchor="center")]
    if stops_frac is not None:
        shapes.append(level(100 * stops_frac, "y", palette.ink))
        notes.append(note(f"fridge stops {100 * stops_frac:.0f} %", 0, 100 * stops_frac, "y", palette,
                          yanchor="top" if stops_frac < reserve_frac else "bottom", font={"color": palette.ink, "size": 14}))
    if forecast.sun_back_in_s is not None and forecast.sun_back_in_s < HOURS * 3600:
        (back,) = clock([issued_utc_s + forecast.sun_back_in_s])
        shapes.append(upright(back, palette.starter))
        notes.append(note(" solar takes over ", back, 0.02, "paper", palette, xref="x",
                          xanchor="left" if back < (begin + end) / 2 else "right",
                          font={"color": palette.starter, "size": 14}))
    return {"data": traces, "layout": sheet(
        palette, 340, {"xaxis": {"range": [begin, end]},
                       "yaxis": {"range": [0, 102], "ticksuffix": " %", "tickvals": [0, 25, 50, 75, 100]}},
        shapes=shapes, annotations=notes, margin={"l": 60, "r": 8, "t": 28, "b": 48})}


def _start(charge: ChargeFindings) -> tuple[float, float, float]:
    held = charge.charge_frac
    assert isinstance(held, Estimate)
    # The fan is an 80 % band, the estimate a 95 % interval of the normal: 1.2816 / 1.9600.
    part = 0.654
    return held.value - part * (held.value - held.low), held.value, held.value + part * (held.high - held.value)


def nights_at(utc_s: float, latitude_deg: float, longitude_deg: float) -> tuple[tuple[float, float], ...]:
    """From and to of every night within the coming hours [s from now] at a known place.

    Sunset to sunrise by the library astral (equations of the NOAA solar calculator); nothing where the
    sun stays up or down all day.

    utc_s: now, UTC [s]; latitude_deg, longitude_deg: north and east positive [°].
    """
    from astral import Observer
    from astral.sun import sunrise, sunset

    observer, found = Observer(latitude_deg, longitude_deg), []
    today = datetime.fromtimestamp(utc_s, UTC).date()
    for day in range(-2, 3):
        try:
            start = sunset(observer, today + timedelta(days=day)).timestamp()
            mornings = (sunrise(observer, today + timedelta(days=day + n)).timestamp() for n in (0, 1, 2))
            stop = min(t for t in mornings if t > start)
        except ValueError:
            continue
        if stop > utc_s - 12 * 3600 and start < utc_s + HOURS * 3600:
            found.append((start - utc_s, min(stop - utc_s, 3600.0 * HOURS)))
    return tuple(found)


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
