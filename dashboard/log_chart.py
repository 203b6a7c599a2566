"""Any span of the log: charge, current and voltages above one another, bands for doubt, gaps as gaps."""
from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.charts import Clock, Figure, band, ground, level, line, note, sheet, tick
from dashboard.palette import Palette

Column = Sequence[float | None]


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


def figure(
    rows: Columns, events: Sequence[tuple[float, str]], gaps: Sequence[tuple[float, float]],
    from_utc_s: float, to_utc_s: float, reserve_frac: float, clock: Clock, palette: Palette,
) -> Figure:
    """The figure of page Log. events: (UTC seconds, words); gaps: (from, to) in UTC seconds."""
    x = [clock(t) for t in rows.at_utc_s]
    charge, current = _part(rows.charge_frac, 1, 100), _part(rows.house_current_a, 2)
    house, starter = _part(rows.house_voltage_v, 2), _part(rows.starter_voltage_v, 2)
    into = [None if v is None else max(v, 0.0) for v in current]
    out = [None if v is None else min(v, 0.0) for v in current]
    data = [
        *band(x, _part(rows.charge_low_frac, 1, 100), _part(rows.charge_high_frac, 1, 100), "y",
              palette.received_band, "95 %"),
        line(x, charge, "y", palette.received, "charge", hovertemplate="%{y:.0f} %<extra></extra>"),
        *_filled(x, into, palette.received, palette.received_band, "received"),
        *_filled(x, out, palette.spent, palette.spent_band, "spent"),
        *band(x, _part(rows.house_voltage_low_v, 2), _part(rows.house_voltage_high_v, 2), "y3",
              palette.received_band, "house"),
        *band(x, _part(rows.starter_voltage_low_v, 2), _part(rows.starter_voltage_high_v, 2), "y3",
              palette.starter_band, "starter"),
        line(x, house, "y3", palette.received, "house", hovertemplate="house %{y:.2f} V<extra></extra>"),
        line(x, starter, "y3", palette.starter, "starter", hovertemplate="starter %{y:.2f} V<extra></extra>"),
    ]
    if events:
        data.append({
            "type": "scatter", "mode": "markers", "x": [clock(t) for t, _ in events], "y": [101] * len(events),
            "yaxis": "y", "text": [text for _, text in events], "hovertemplate": "%{text}<extra></extra>",
            "marker": {"symbol": "triangle-down", "size": 11, "color": palette.spent}, "cliponaxis": False,
            "showlegend": False, "name": "events",
        })
    axes = {
        "xaxis": {"range": [clock(from_utc_s), clock(to_utc_s)], "anchor": "y3"},
        "yaxis": {"domain": [0.68, 1.0], "range": [0, 102], "tickvals": [0, 25, 50, 75, 100]},
        "yaxis2": {"domain": [0.37, 0.6], "zeroline": True, "zerolinecolor": palette.ink, "zerolinewidth": 1},
        "yaxis3": {"domain": [0.0, 0.29]},
    }
    volts = f"<span style='color:{palette.received}'>house</span> and <span style='color:{palette.starter}'>starter</span>"
    notes = [
        note("Charge of the house battery, %", 0, 1.0, "paper", palette),
        note(f"Amperes <span style='color:{palette.received}'>received</span> (up) and "
             f"<span style='color:{palette.spent}'>spent</span> (down)", 0, 0.6, "paper", palette),
        note(f"Volts, {volts}", 0, 0.29, "paper", palette),
    ]
    shapes = [ground(clock(max(a, from_utc_s)), clock(min(b, to_utc_s)), palette.gap) for a, b in gaps]
    shapes.append(level(100 * reserve_frac, "y", palette.spent))
    return {"data": data, "layout": sheet(palette, 660, axes, shapes=shapes, annotations=notes)}


def starter_figure(rows: Columns, gaps: Sequence[tuple[float, float]], clock: Clock, palette: Palette) -> Figure:
    """The starter battery's voltage with its lowest and highest, for page Starter."""
    x = [clock(t) for t in rows.at_utc_s]
    data = [
        *band(x, _part(rows.starter_voltage_low_v, 2), _part(rows.starter_voltage_high_v, 2), "y",
              palette.starter_band, "lowest to highest"),
        line(x, _part(rows.starter_voltage_v, 2), "y", palette.starter, "starter",
             hovertemplate="%{y:.2f} V<extra></extra>"),
    ]
    shapes = [ground(clock(a), clock(b), palette.gap) for a, b in gaps]
    return {"data": data, "layout": sheet(palette, 300, {"yaxis": {"ticksuffix": " V"}}, shapes=shapes,
                                          margin={"l": 60, "r": 8, "t": 12, "b": 36})}


def _part(column: Column, digits: int, scale: float = 1.0) -> list[float | None]:
    return [tick(value, digits, scale) for value in column]


def _filled(x: Sequence, y: Column, colour: str, fill: str, name: str) -> list[Figure]:
    """Current as ground between the line and zero."""
    zero = [None if v is None else 0 for v in y]
    low, high = (y, zero) if name == "spent" else (zero, y)
    return [*band(x, low, high, "y2", fill, name),
            line(x, y, "y2", colour, name, hoverinfo="skip" if not any(y) else "all",
                 hovertemplate="%{y:.1f} A<extra></extra>", line={"color": colour, "width": 1.3})]
