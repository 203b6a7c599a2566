"""Hours of a house battery at and beyond what it bears, and packs that cut themselves off or only seem to: what is said, and when."""
from collections.abc import Iterator, Sequence
from typing import Any

#: Volts, amperes and warmth of a minute.
Row = tuple[float | None, float, float | None]


def _swept(low: float, high: float, count: int = 24) -> list[float]:
    """Figures from low to high, each so many times the one before."""
    return [low * (high / low) ** (k / (count - 1)) for k in range(count)]


def cut_offs() -> Iterator[tuple[str, str]]:
    """A charge or load that is gone at once, by every figure from little to much; and what only looks like it."""
    cases: list[tuple[str, list[Row]]] = []

    def charge(name: str, amps: float = 18.0, volts: float = 13.45, after_v: float = 14.2, after_a: float = 0.0, warm_c: float = 12.0,
               between: Sequence[Row] = (), minutes: int = 12) -> None:
        cases.append((name, [*[(volts, amps, warm_c)] * 12, *between, *[(after_v, after_a, warm_c)] * minutes, (13.4, 12.0, warm_c)]))

    for k in range(12):
        charge(f"lasts {k}", minutes=k)
        charge(f"fell by {k}", after_v=13.45 - 0.0025 * k)
        charge(f"keeps {k}", between=[(13.45, 18.0 * (0.5 + 0.05 * k), 12.0)])
        charge(f"fades {k}", between=[(13.45, 18.0 * (0.5 + 0.05 * k), 12.0), (13.45, 18.0 * (0.5 + 0.05 * k) ** 3, 12.0)])
        charge(f"warm {k}", warm_c=-3.0 + 1.0 * k)
        charge(f"hot {k}", warm_c=46.0 + 1.0 * k)
        charge(f"high {k}", volts=13.6 + 0.05 * k, after_v=14.3, amps=40.0)
        charge(f"came by {k}", volts=13.05, amps=-0.1, after_v=13.1 + 0.05 * k)
        charge(f"lifted by {k}", volts=13.35, amps=-0.1, after_v=13.35 + 0.05 * k)
        charge(f"low {k}", volts=13.2 + 0.04 * k, after_v=13.2 + 0.04 * k)
    for amps in _swept(0.3, 90.0):
        charge(f"{amps:.2f} A", amps)
        charge(f"{amps:.2f} A near the top", amps, 13.86, 13.9)
        cases.append((f"load of {amps:.2f} A", [*[(13.1, -amps, 20.0)] * 12, *[(0.4, 0.0, 20.0)] * 9, *[(13.2, -1.0, 20.0)] * 3]))
        cases.append((f"load of {amps:.2f} A, no voltage", [*[(13.1, -amps, 20.0)] * 12, *[(None, 0.0, 20.0)] * 9]))
    for amps in _swept(0.02, 2.0):
        charge(f"{amps:.3f} A are left", after_a=amps)
        charge(f"{amps:.3f} A are left near the top", 20.0, 13.9, 14.0, amps)
    for volts in _swept(5.0, 13.0):
        cases.append((f"{volts:.2f} V are left", [*[(13.1, -8.0, 20.0)] * 12, *[(volts, 0.0, 20.0)] * 9, (13.1, -1.0, 20.0)]))
        cases.append((f"from {volts:.2f} V", [*[(volts, -8.0, 20.0)] * 12, *[(0.4, 0.0, 20.0)] * 9, *[(volts, 0.0, 20.0)] * 3]))
        cases.append((f"at {8.0 - 2 * volts:.1f} °C", [*[(12.9, -8.0, 8.0 - 2 * volts)] * 12, *[(0.4, 0.0, 8.0 - 2 * volts)] * 9]))
    yield from (("cut-offs", f"{name}: {_opened(rows)}") for name, rows in cases)
    for silent_s in (70.0, 85.0, 100.0, 115.0, 130.0, 200.0, 400.0, 900.0, 2000.0, 5000.0):
        yield "cut-offs", f"silent {silent_s}: {_opened([*[(13.45, 18.0, 12.0)] * 12, *[(14.2, 0.0, 12.0)] * 9], silent_s)}"


def _opened(rows: list[Row], silent_s: float = 60.0) -> list[Any]:
    """When the battery was found cut off or back, and why; silent_s: how long the thirteenth reading is in coming, after a restart."""
    from monitor.battery.label import Battery, Vehicle
    from monitor.detection.house import protection
    from monitor.sample import Sample
    from monitor.sampling.gather import minutes

    vehicle = Vehicle(Battery("house", "lfp", 100.0), Battery("starter", "flooded", 70.0))
    held, seen, before = protection.begin(), [], ""
    samples = [Sample(60.0 * k + (silent_s - 60.0 if k > 12 else 0.0), volts, amps, 12.7, warm_c)
               for k, (volts, amps, warm_c) in enumerate(rows, 1)]
    begun_anew = 12 if silent_s > 60.0 else len(samples)
    for minute in (*minutes(samples[:begun_anew]), *minutes(samples[begun_anew:])):
        held = protection.update(held, minute, vehicle)
        found = protection.findings(held, vehicle)
        if found.path != before:
            seen.append((minute.end_s, found.path, found.causes))
            before = found.path
    return seen


def borne() -> Iterator[tuple[str, str]]:
    """Voltage, warmth, charge and frost beyond the limit for longer and longer, and back again by little or by much."""
    from monitor.battery.label import Battery, Vehicle

    agm, flooded, lfp = (Vehicle(Battery("house", kind, 100.0), Battery("starter", "flooded", 70.0)) for kind in ("agm", "flooded", "lfp"))
    calm: dict[str, Any] = {"house_voltage_v": 12.8}
    for k in range(1, 25):
        half = 30.0 * k
        yield _said(f"too high for {half} s", agm, [({"house_voltage_v": 15.6}, half / 60), (calm, 5)])
        yield _said(f"too low for {half} s", agm, [({"house_voltage_v": 10.2}, half / 60), (calm, 5)])
        warm: dict[str, Any] = {"house_temperature_c": 25.0}
        yield _said(f"back to {14.95 - 0.015 * k:.3f} V", agm, [
            (warm | {"house_voltage_v": 15.6}, 5), (warm | {"house_voltage_v": 14.95 - 0.015 * k}, 9)])
        yield _said(f"back to {11.0 + 0.04 * k:.2f} V", agm, [({"house_voltage_v": 10.2}, 5), ({"house_voltage_v": 11.0 + 0.04 * k}, 9)])
        yield _said(f"{2 * k} min below the reserve", agm, [({"charge": 0.4}, k), ({"charge": 0.6}, 30)])
        yield _said(f"back to {0.5 + 0.004 * k:.3f}", agm, [({"charge": 0.4}, 30), ({"charge": 0.5 + 0.004 * k}, 30)])
        yield _said(f"known within {0.05 * k:.2f}", agm, [({"charge": 0.4, "width": 0.05 * k}, 30)])
        yield _said(f"{k} min deep", agm, [({"house_voltage_v": 9.9}, k), (calm, 5)])
        yield _said(f"{10 * k} min hot", agm, [({"house_temperature_c": 47.0}, 10 * k), ({"house_temperature_c": 20.0}, 5)])
        yield _said(f"{k} min very hot", agm, [({"house_temperature_c": 66.0}, k), ({"house_temperature_c": 20.0}, 5)])
        yield _said(f"cooler by {0.2 * k} K", agm, [({"house_temperature_c": 52.0}, 90), ({"house_temperature_c": 52.0 - 0.5 * k}, 90)])
        yield _said(f"hot again after {2 * k} h", agm, [
            ({"house_temperature_c": 52.0}, 90), ({"house_temperature_c": 20.0}, 120 * k), ({"house_temperature_c": 52.0}, 90)])
        high = warm | {"house_voltage_v": 14.85}
        yield _said(f"{k} h above, and forgotten", agm, [(high, 60 * k), (warm, 60 * 24 * 4)])
        yield _said(f"{k} h above in all", agm, [*[(high, 12 * k), (warm, 60 * 20)] * 4])
        frozen: dict[str, Any] = {"house_voltage_v": 11.9, "house_temperature_c": -20.0, "charge": None}
        yield _said(f"rests {10 * k} min in frost", flooded, [
            (frozen | {"house_current_a": 0.1}, 10 * k), (frozen | {"house_current_a": -9.0}, 20)])
        yield _said(f"frost with {0.1 * k:.1f} A", flooded, [(frozen | {"house_current_a": -0.1 * k}, 200)])
        yield _said(f"frost at {0.004 * k:.3f}", flooded, [
            (frozen | {"house_voltage_v": 11.0, "house_current_a": -3.0, "charge": 0.004 * k + 0.02, "width": 0.04}, 60)])
        yield _said(f"frost for {5 * k} min", flooded, [(frozen | {"house_current_a": 0.0, "charge": 0.3}, 5 * k), (
            frozen | {"house_temperature_c": 8.0}, 5 * k), (frozen | {"house_current_a": 0.0, "charge": 0.3}, 90)])
        yield _said(f"charged cold for {k} min", lfp, [({"house_current_a": 9.0, "house_temperature_c": -5.0}, k), (
            {"house_current_a": 9.0, "house_temperature_c": 9.0}, 2 * k), ({"house_current_a": 9.0, "house_temperature_c": -5.0}, 20)])
        yield _said(f"runs away at {0.2 * k:.1f} A", agm, _runaway(most_a=0.2 * k))
        yield _said(f"runs away by {0.3 * k:.1f} K", agm, _runaway(kelvin=0.3 * k))
        yield _said(f"runs away at {0.01 * k - 0.15:.2f} V less", agm, _runaway(sinks_v=0.01 * k - 0.15))
        yield _said(f"runs away for {k * 5} min", agm, [*_runaway(), ({"house_voltage_v": 12.9, "house_current_a": 0.2 * k} | warm, 20)])
        yield _said(f"from the alternator until {k} min ago", lfp, [
            ({"house_voltage_v": 14.9, "starter_voltage_v": 15.0, "engine": True}, 9), ({"house_voltage_v": 14.9}, k), (calm, 3)])


def _runaway(most_a: float = 12.0, kelvin: float = 12.0, sinks_v: float = 0.0) -> list[tuple[dict[str, Any], float]]:
    """Charging into a battery that is hot and takes more again while it warms."""
    return [({"house_voltage_v": 14.4 - (sinks_v if k > 6 else 0.0), "house_current_a": most_a * (0.2 if k <= 6 else 1.0),
              "house_temperature_c": 58.0 + (kelvin if k > 6 else 0.0), "ambient_temperature_c": 30.0}, 10) for k in range(12)]


def _said(name: str, vehicle: Any, spells: list[tuple[dict[str, Any], float]]) -> tuple[str, str]:
    """What is said while each of some readings lasts for so many minutes; one minute is half a minute where that is not whole."""
    from monitor.alerts import rules
    from monitor.detection.house import house_alerts, limit_alerts
    from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
    from monitor.sample import Minute

    nothing = NotYet("")
    held, limits, alerts, said, at_s = house_alerts.begin(), limit_alerts.begin(), rules.begin(), [], 0.0
    for values, minutes in spells:
        span_s = 600.0 if minutes >= 600 else 60.0 if minutes == int(minutes) else 30.0
        reading = {"house_voltage_v": 12.8, "house_current_a": -1.0} | {
            key: value for key, value in values.items() if key not in ("charge", "width", "engine")}
        known, width = values.get("charge", 0.8), values.get("width", 0.1)
        charge = ChargeFindings(nothing if known is None else Estimate(known, known - width / 2, known + width / 2, "counting"),
                                nothing, nothing, nothing, nothing, nothing)
        join = JoinFindings("closed", "running") if values.get("engine") else JoinFindings()
        for _ in range(round(minutes * 60.0 / span_s)):
            minute = Minute(at_s, at_s + span_s, (), **reading)
            at_s += span_s
            held = house_alerts.update(held, minute, vehicle, charge, join)
            limits = limit_alerts.update(limits, minute, vehicle, charge)
            alerts = rules.update(alerts, (*house_alerts.conditions(held, vehicle), *limit_alerts.conditions(limits, vehicle)), at_s)
            said += [(c.at_s, c.what, c.alert.kind, c.alert.seen, c.alert.evidence) for c in alerts.news]
    return "borne", f"{name}: {said}"


SCENES = {"cut-offs": cut_offs, "borne": borne}
