"""Drawings of a battery's life: capacity and resistance week by week, cycles by depth, charge by source."""
from collections.abc import Sequence

from dashboard.charts import Clock, Figure, band, level, line, note, rounded, sheet, upright
from dashboard.palette import Palette
from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Z95
from monitor.wear.week import Week

WEEK_S = 7 * 86400.0


def weeks_figure(weeks: Sequence[tuple[float, Week]], replaced_utc_s: Sequence[float], rated_capacity_ah: float,
                 clock: Clock, palette: Palette, height_px: int = 460) -> Figure:
    """Capacity above, resistance below, each with its 95 % band; a rule where a battery was replaced.

    weeks : (UTC of the end, record), oldest first; a silence of two weeks is a gap
    replaced_utc_s : when a battery was replaced, UTC [s]
    rated_capacity_ah : capacity on the label [Ah]
    clock : how moments are shown
    palette : colours of the page
    height_px : height of the figure
    """
    rows = _with_gaps(weeks, replaced_utc_s)
    x = clock([at for at, _ in rows])

    def column(get) -> list[float | None]:
        return [None if week is None else get(week) for _, week in rows]

    size, low, high = (column(lambda w, n=n: getattr(w, n)) for n in ("capacity_ah", "capacity_low_ah", "capacity_high_ah"))
    ohm, sigma = column(lambda w: w.resistance_ohm), column(lambda w: w.resistance_sigma_ohm)
    ohm_low, ohm_high = ([None if r is None or s is None else r + k * Z95 * s for r, s in zip(ohm, sigma, strict=True)] for k in (-1, 1))
    dots = {"mode": "lines+markers", "marker": {"size": 6}}
    data = [
        *band(x, rounded(low, 1), rounded(high, 1), "y", palette.received_band, "95 %"),
        line(x, rounded(size, 1), "y", palette.received, "capacity", hovertemplate="%{y:.0f} Ah<extra></extra>", **dots),
        *band(x, rounded(ohm_low, 2, 1000), rounded(ohm_high, 2, 1000), "y2", palette.spent_band, "95 %"),
        line(x, rounded(ohm, 2, 1000), "y2", palette.spent, "resistance", hovertemplate="%{y:.1f} mΩ<extra></extra>", **dots),
    ]
    most_ah = max([rated_capacity_ah, *(v for v in high if v is not None)])
    most_mohm = 1000 * max([0.001, *(v for v in ohm_high if v is not None)])
    ends = clock([rows[0][0] - WEEK_S / 2, rows[-1][0] + WEEK_S / 2]) if rows else clock([0.0, WEEK_S])
    axes: dict[str, Figure] = {
        "xaxis": {"range": ends, "anchor": "y2"},
        "yaxis": {"domain": [0.58, 1.0], "range": [0, 1.06 * most_ah]},
        "yaxis2": {"domain": [0.0, 0.42], "range": [0, 1.15 * most_mohm]},
    }
    notes = [note("Capacity of the house battery, Ah", 0, 1.0, "paper", palette),
             note("Its resistance at 25 °C, full, mΩ", 0, 0.42, "paper", palette),
             note("80 % of rated capacity", 1, USED_UP_FRAC * rated_capacity_ah, "y", palette, xanchor="right", yanchor="top",
                  font={"color": palette.spent, "size": 13})]
    shapes = [level(USED_UP_FRAC * rated_capacity_ah, "y", palette.spent),
              *(upright(at, palette.ink, "solid") for at in clock(list(replaced_utc_s)))]
    return {"data": data, "layout": sheet(palette, height_px, axes, shapes=shapes, annotations=notes)}


def _with_gaps(weeks: Sequence[tuple[float, Week]], cuts: Sequence[float]) -> list[tuple[float, Week | None]]:
    """The same with a hole where weeks are missing and where one battery gave way to another."""
    found: list[tuple[float, Week | None]] = []
    for at, week in weeks:
        if found and (at - found[-1][0] > 2.2 * WEEK_S or any(found[-1][0] < cut <= at for cut in cuts)):
            found.append(((at + found[-1][0]) / 2, None))
        found.append((at, week))
    return found


def depth_figure(depth_counts: Sequence[float], palette: Palette, height_px: int = 260) -> Figure:
    """How often the battery was cycled how deep, ten points to a bar.

    depth_counts: cycles by depth, ten points of charge to each; palette: colours of the page; height_px: height of the figure.
    """
    counts = list(depth_counts)
    while len(counts) > 5 and counts[-1] < 0.05:
        counts.pop()
    names = [f"{10 * i}" for i in range(len(counts))]
    data = [{"type": "bar", "x": names, "y": [round(c, 1) for c in counts], "marker": {"color": palette.received},
             "text": [f"{c:.0f}" if c >= 0.5 else "" for c in counts], "textposition": "outside", "cliponaxis": False,
             "hovertemplate": "from %{x} % deep: %{y:.1f}<extra></extra>", "showlegend": False}]
    axes: dict[str, Figure] = {"xaxis": {"type": "category", "dtick": 1,
                                         "title": {"text": "depth of a cycle, from … % of charge on", "standoff": 6}},
            "yaxis": {"rangemode": "tozero", "title": {"text": "cycles"}}}
    return {"data": data, "layout": sheet(palette, height_px, axes, bargap=0.25, hovermode="closest",
                                          margin={"l": 56, "r": 8, "t": 22, "b": 58})}


def sources_figure(at_utc_s: Sequence[float], sun_ah: Sequence[float], engine_ah: Sequence[float], other_ah: Sequence[float],
                   spent_ah: Sequence[float], width_s: float, clock: Clock, palette: Palette, height_px: int = 320) -> Figure:
    """Charge received by source upward, charge spent downward, a bar for each day or week.

    at_utc_s: middle of each bar, UTC [s]; sun_ah, engine_ah, other_ah: received in it by source [Ah]; spent_ah: what the loads took
    [Ah]; width_s: of a bar [s]; clock: how moments are shown; palette: colours of the page; height_px: height of the figure.
    """
    x = clock(list(at_utc_s))
    data = []
    for name, column, colour, sign in (("sun", sun_ah, palette.starter, 1), ("engine", engine_ah, palette.received, 1),
                                       ("other", other_ah, palette.faint, 1), ("spent", spent_ah, palette.spent, -1)):
        if any(value > 0.05 for value in column):
            data.append({"type": "bar", "x": x, "y": [round(sign * v, 1) for v in column], "name": name, "showlegend": False,
                         "width": 0.8 * width_s * 1000, "marker": {"color": colour},
                         "hovertemplate": name + " %{y:.0f} Ah<extra></extra>"})
    span = "day" if width_s < 2 * 86400 else "week"
    words = (f"Ah a {span}: <span style='color:{palette.starter}'>sun</span>, <span style='color:{palette.received}'>engine</span> (up), "
             f"<span style='color:{palette.spent}'>spent</span> (down)")
    axes: dict[str, Figure] = {"yaxis": {"zeroline": True, "zerolinecolor": palette.ink, "zerolinewidth": 1},
            "xaxis": {"range": clock([at_utc_s[0] - width_s / 2, at_utc_s[-1] + width_s / 2])} if x else {}}
    return {"data": data, "layout": sheet(palette, height_px, axes, barmode="relative", annotations=[
        note(words, 0, 1.0, "paper", palette)])}
