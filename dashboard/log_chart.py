"""Any span of the log: charge, current and voltages above one another, bands for doubt, gaps as gaps."""
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.charts import Clock, Figure, band, ground, level, line, note, rounded, sheet
from dashboard.palette import Palette

Column = Sequence[float | None]

#: Parts of the height for charge, current, volts and the bar of the join, without and with a temperature below.
PARTS: dict[bool, tuple[list[float], ...]] = {
    False: ([0.68, 1.0], [0.37, 0.6], [0.0, 0.26], [0.27, 0.29]),
    True: ([0.74, 1.0], [0.48, 0.66], [0.22, 0.38], [0.39, 0.405]),
}


@dataclass(frozen=True, slots=True)
class Columns:
    """What the log holds of a span, one place for each moment; None is not measured."""

    at_utc_s: Sequence[float]
    charge_frac: Column
    charge_low_frac: Column
    charge_high_frac: Column
    house_current_a: Column
    house_current_low_a: Column
    house_current_high_a: Column
    house_voltage_v: Column
    house_voltage_low_v: Column
    house_voltage_high_v: Column
    starter_voltage_v: Column
    starter_voltage_low_v: Column
    starter_voltage_high_v: Column
    isolator_closed_frac: Column
    house_temperature_c: Column = ()


def figure(
    rows: Columns, events: Sequence[tuple[float, str]], gaps: Sequence[tuple[float, float]],
    from_utc_s: float, to_utc_s: float, reserve_frac: float, clock: Clock, palette: Palette,
) -> Figure:
    """The figure of page Log. events: (UTC seconds, words); gaps: (from, to) in UTC seconds.

    rows: charge, current and voltages by moment; from_utc_s, to_utc_s: the span shown, UTC [s]; reserve_frac: charge that is to
    stay, 0 to 1; clock: how moments are shown; palette: colours of the page.
    """
    x = clock(rows.at_utc_s)
    into = [v if v is not None and v > 0 else None for v in rows.house_current_a]
    out = [v if v is not None and v < 0 else None for v in rows.house_current_a]
    drawn: dict[tuple, list] = {}
    data = [
        *band(x, rounded(rows.charge_low_frac, 1, 100), rounded(rows.charge_high_frac, 1, 100), "y",
              palette.received_band, "95 %", drawn),
        line(x, rounded(rows.charge_frac, 1, 100), "y", palette.received, "charge",
             hovertemplate="%{y:.0f} %<extra></extra>"),
        *_filled_line(x, into, palette.received, palette.received_band, "received"),
        *_filled_line(x, out, palette.spent, palette.spent_band, "spent"),
        *band(x, rows.house_voltage_low_v, rows.house_voltage_high_v, "y3",
              palette.received_band, "house", drawn),
        *band(x, rows.starter_voltage_low_v, rows.starter_voltage_high_v, "y3",
              palette.starter_band, "starter", drawn),
        line(x, rows.house_voltage_v, "y3", palette.received, "house", hovertemplate="house %{y:.2f} V<extra></extra>"),
        line(x, rows.starter_voltage_v, "y3", palette.starter, "starter",
             hovertemplate="starter %{y:.2f} V<extra></extra>"),
    ]
    joined = _joined_bar(rows)
    if joined:
        data.append(line(x, joined, "y4", palette.starter, "joined", hovertemplate="batteries connected<extra></extra>",
                         line={"color": palette.starter, "width": 5}))
    if events:
        data.append({
            "type": "scatter", "mode": "markers", "x": clock([t for t, _ in events]), "y": [101] * len(events),
            "yaxis": "y", "text": [text for _, text in events], "hovertemplate": "%{text}<extra></extra>",
            "marker": {"symbol": "triangle-down", "size": 11, "color": palette.spent}, "cliponaxis": False,
            "showlegend": False, "name": "events",
        })
    warmth = any(v is not None for v in rows.house_temperature_c)
    charge_at, current_at, volts_at, bar_at = PARTS[warmth]
    axes: dict[str, Figure] = {
        "xaxis": {"range": clock([from_utc_s, to_utc_s]), "anchor": "y5" if warmth else "y3"},
        "yaxis": {"domain": charge_at, "range": [0, 102], "tickvals": [0, 25, 50, 75, 100]},
        "yaxis2": {"domain": current_at, "zeroline": True, "zerolinecolor": palette.ink, "zerolinewidth": 1},
        "yaxis3": {"domain": volts_at},
        "yaxis4": {"domain": bar_at, "range": [0, 1], "visible": False},
    }
    if warmth:
        axes["yaxis5"] = {"domain": [0.0, 0.13]}
        data.append(line(x, rounded(rows.house_temperature_c, 1), "y5", palette.ink, "temperature",
                         hovertemplate="%{y:.0f} °C<extra></extra>"))
    volts = (f"<span style='color:{palette.received}'>house</span> and "
             f"<span style='color:{palette.starter}'>starter</span>")
    volts += "; bar: connected" if joined else ""
    notes = [
        note("Charge of the house battery, %", 0, 1.0, "paper", palette),
        note(f"Amperes <span style='color:{palette.received}'>received</span> (up) and "
             f"<span style='color:{palette.spent}'>spent</span> (down)", 0, current_at[1], "paper", palette),
        note(f"Volts, {volts}", 0, bar_at[1], "paper", palette),
        *([note("Temperature of the house battery, °C", 0, 0.13, "paper", palette)] if warmth else []),
    ]
    shapes = [ground(clock([max(a, from_utc_s), min(b, to_utc_s)]), palette.gap) for a, b in gaps]
    shapes.append(level(100 * reserve_frac, "y", palette.spent))
    return {"data": data, "layout": sheet(palette, 780 if warmth else 660, axes, shapes=shapes, annotations=notes)}


def starter_figure(rows: Columns, gaps: Sequence[tuple[float, float]], clock: Clock, palette: Palette) -> Figure:
    """The starter battery's voltage with its lowest and highest, for page Starter.

    The axis is cut to what it does while it stands alone: a drain is a few hundredths of a volt a
    day, a charging alternator more than one volt.

    rows: voltages by moment; gaps: from and to without readings, UTC [s]; clock: how moments are shown; palette: colours of the
    page.
    """
    x = clock(rows.at_utc_s)
    alone = [v for v, closed in zip(rows.starter_voltage_v, rows.isolator_closed_frac, strict=True)
             if v is not None and (closed or 0.0) < 0.01]
    top = max(sorted(alone)[: max(int(0.98 * len(alone)), 1)], default=13.0)
    bottom = min(sorted(alone)[len(alone) // 50:], default=12.0)
    room = max(0.1, 0.25 * (top - bottom))
    data = [
        *band(x, rows.starter_voltage_low_v, rows.starter_voltage_high_v, "y",
              palette.starter_band, "lowest to highest"),
        line(x, rows.starter_voltage_v, "y", palette.starter, "starter",
             hovertemplate="%{y:.2f} V<extra></extra>"),
    ]
    shapes = [ground(clock([a, b]), palette.gap) for a, b in gaps]
    axis = {"ticksuffix": " V", "tickformat": ".2f", "range": [round(bottom - room, 3), round(top + room, 3)]}
    return {"data": data, "layout": sheet(palette, 300, {"yaxis": axis}, shapes=shapes,
                                          margin={"l": 68, "r": 8, "t": 12, "b": 48})}


def _joined_bar(rows: Columns) -> list[float | None]:
    """0.5 where the batteries were joined for most of the time, None elsewhere; empty when they never were."""
    bar = [0.5 if (v or 0.0) > 0.2 else None for v in rows.isolator_closed_frac]
    return bar if any(bar) else []


def _filled_line(x: Sequence, y: Column, colour: str, fill: str, name: str) -> list[Figure]:
    """Current of one direction as ground between the line and zero."""
    zero = [None if v is None else 0 for v in y]
    low, high = (y, zero) if name == "spent" else (zero, y)
    return [*band(x, low, high, "y2", fill, name),
            line(x, y, "y2", colour, name, hovertemplate=name + " %{y:.1f} A<extra></extra>",
                 line={"color": colour, "width": 1.3})]
