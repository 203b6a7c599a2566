"""What of alternator, isolator and path deserves a warning: no charge, stuck closed or open, intermittent, grown resistance."""
from monitor.battery.label import Vehicle
from monitor.detection.join import isolator_evidence as contacts
from monitor.detection.join import join_faults, path_resistance, uncharged_run
from monitor.detection.join.isolator_evidence import IsolatorEvidence
from monitor.detection.join.join_faults import CHARGING_WELL_V
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.uncharged_run import UnchargedRun
from monitor.findings import Condition, Priority
from monitor.parameters import table
from monitor.replacing import replace

P = table("detection/join", "join_alerts")
FOLLOWS, NAMED_STEPS = P.number("follows"), P.count("named_steps")

#: kind -> priority, what it means, what to look at first, what would make it go away.
#: {part}: isolator or DC-DC charger.
TEXTS: dict[str, tuple[Priority, str, str, str]] = {
    "alternator_not_charging": (
        "high", "Either the engine is running and the alternator is not charging, or ignition or lights were left on. Once the "
        "starter battery is empty the engine stalls, or does not start again.",
        "Engine running: switch off what you can and do not stop it before you are safe; look at the charge warning lamp and at the "
        "temperature, for a belt that is gone may drive the water pump too: if it rises, stop at once. Engine off and key out: the "
        "belt, the alternator's plug, cable, fuse and earth. Engine not running: ignition and lights off.",
        "It clears once an engine run charges the starter battery for a minute."),
    "isolator_stuck_closed": (
        "high", "Either the isolator has not opened, and house loads empty the starter battery as well, or the engine is running and its "
        "alternator has died.",
        "Engine running: look at the charge warning lamp. Engine off: listen for the relay when it stops; look for welded contacts or "
        "a control wire that stays live.",
        "It clears when the two voltages go their own ways again with the engine off."),
    "isolator_stuck_open": (
        "medium", "The {part} does not pass charge on: driving no longer charges the house battery.",
        "Look at the fuses on both sides of the {part}, its control wire and its earth.",
        "It clears when the house battery follows the engine again for a minute."),
    "isolator_intermittent": (
        "medium", "A contact or its control wire is loose; a contact that chatters burns.",
        "Look at the plugs and the earth of the relay; feel, with the engine off, whether terminals are loose.",
        "It clears six hours after the last of such openings, at the next run."),
    "path_resistance_grown": (
        "medium", "A contact or a crimp in the charging path is getting worse; it wastes charge and can become hot "
        "enough to burn.", "With the engine off and both batteries disconnected, look for loose, green or browned "
        "terminals and fuse holders.", "It clears when the measured resistance falls back towards the first edges'."),
}

#: What an uncharged run means, and what to do besides, while the house battery feeds the load.
FED_MEANS = ("Either the engine is running and the alternator is not charging, or ignition or lights were left on. The isolator is still "
             "closed, so that both batteries run down; once they are empty the engine stalls, or does not start again.")
FED_LOOK = " Joined, the house battery helps the engine along: switch its loads off, too."

#: The same conditions while nothing is wrong.
IDLE = {kind: Condition(kind, "vehicle", False, priority, "", means.format(part="isolator"), look.format(part="isolator"),
                        clears.format(part="isolator"))
        for kind, (priority, means, look, clears) in TEXTS.items()}


def _warn(kind: str, seen: str, evidence: str, figures: tuple[tuple[str, float], ...], part: str = "isolator") -> Condition:
    priority, means, look, clears = TEXTS[kind]
    return Condition(kind, "vehicle", True, priority, seen, means.format(part=part), look.format(part=part),
                     clears.format(part=part), figures=figures, evidence=evidence)


def conditions(record: JoinRecord, touching: IsolatorEvidence, path: path_resistance.PathResistance,
               vehicle: Vehicle, uncharged: UnchargedRun) -> tuple[Condition, ...]:
    """The five conditions of alternator, isolator and path, active or not.

    record: what runs and stops have shown; touching: the evidence for a join; path: its resistance; vehicle: what
    its owner said of it; uncharged: whether the engine runs and nothing charges.
    """
    built = join_faults.build(record, vehicle)
    dc_dc = built == "dc_dc"
    return (
        _alternator_not_charging(uncharged) if uncharged.found else IDLE["alternator_not_charging"],
        _stuck_closed(record, touching, vehicle) if record.stuck and not dc_dc else IDLE["isolator_stuck_closed"],
        _stuck_open(record, dc_dc) if join_faults.is_stuck_open(record) else IDLE["isolator_stuck_open"],
        _intermittent(record) if built == "isolator" and join_faults.count_openings(record) else IDLE["isolator_intermittent"],
        _path_resistance_grown(path) if not dc_dc and path_resistance.has_grown(path) else IDLE["path_resistance_grown"],
    )


def _alternator_not_charging(uncharged: UnchargedRun) -> Condition:
    volts = "" if uncharged.now_v is None else f": {uncharged.now_v:.1f} V"
    if not uncharged.goes_on:
        seen = "The alternator did not charge in the last run"
    elif uncharged_run.engine(uncharged, "unknown") == "running":
        seen = "Engine running, but the alternator is not charging"
    else:
        seen = "Starter battery drained as by a running engine"
    minutes = f"{uncharged.loaded_s / 60:.0f} min"
    evidence = f"Something has drawn from the starter battery as a running engine does, for {minutes}."
    if uncharged.fed:
        evidence = (f"Charging has ended, and for {minutes} the starter battery has lain below its rest, sinking, though the house battery "
                    "feeds it.")
    warning = _warn("alternator_not_charging", f"{seen}{volts}.", evidence,
                    (("voltage_v", uncharged.now_v or 0.0), ("loaded_s", uncharged.loaded_s)))
    return replace(warning, means=FED_MEANS, look_first=warning.look_first + FED_LOOK) if uncharged.fed else warning


def _stuck_closed(record: JoinRecord, touching: IsolatorEvidence, vehicle: Vehicle) -> Condition:
    share = contacts.transfer(touching)
    evidence = (f"No engine charges, and for {record.joined_s / 3600:.1f} h the voltages of both batteries have stayed together")
    if share is not None and touching.steps >= NAMED_STEPS and share[0] > FOLLOWS:
        evidence += f"; the starter battery follows {100 * min(share[0], 1.0):.0f} % of {touching.steps} load steps"
    if vehicle.isolator_follows == "engine":
        evidence += ". The configuration says that it opens with the engine; one that senses voltage may rightly hold on for hours"
    return _warn("isolator_stuck_closed", "Isolator stuck closed: house loads drain the starter battery.", evidence + ".", (
        ("joined_s", record.joined_s), ("followed_frac", share[0] if share else 0.0)))


def _stuck_open(record: JoinRecord, dc_dc: bool) -> Condition:
    runs = "one run" if record.runs_missed == 1 else f"{record.runs_missed} runs"
    evidence = (f"The engine charged the starter battery in {runs} of five minutes or more, and the house battery "
            "did not follow")
    if record.starter_v is not None and record.house_v is not None and record.starter_v > CHARGING_WELL_V:
        evidence += f" ({record.starter_v:.1f} V against {record.house_v:.1f} V)"
    return _warn("isolator_stuck_open", "Driving does not charge the house battery.", evidence + ".", (
        ("runs_missed", float(record.runs_missed)),),
                 "DC-DC charger" if dc_dc else "isolator")


def _intermittent(record: JoinRecord) -> Condition:
    return _warn("isolator_intermittent", f"Isolator opened {len(record.openings)} times while the engine charged.",
                 "All of it within six hours.", (("openings", float(len(record.openings))),))


def _path_resistance_grown(path: path_resistance.PathResistance) -> Condition:
    grown = path_resistance.growth(path)
    if grown is None:
        return IDLE["path_resistance_grown"]
    ratio, _, now, then = grown
    return _warn("path_resistance_grown", f"Isolator and cables at {1000 * now:.1f} mΩ, {ratio:.1f} times as before.",
                 f"They began at {1000 * then:.1f} mΩ; at {path.largest_a:.0f} A the added part turns "
                 f"{(now - then) * path.largest_a**2:.0f} W into heat.", (("ratio", ratio), ("resistance_ohm", now)))
