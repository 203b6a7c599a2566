"""Whose word on the shunt counts: the configuration's, or a calibration that the daemon made and the log keeps."""
from monitor.battery.label import CurrentSensor
from monitor.store import saving


def select_calibration(configured: CurrentSensor, calibration: str | None, configured_then: str | None) -> tuple[CurrentSensor, bool]:
    """The correction that holds, and whether the configuration has just taken the place of a calibration in the log.

    calibration is what the log keeps of one that the daemon made, configured_then what the configuration said when
    the log was last written: where it says something else by now, a person has measured since, and is believed.

    configured: the correction of the configuration; calibration: as kept in the log, None: there is none; configured_then: as kept
    in the log.

    Raises
    ------
    ValueError : the log's words are of another version
    """
    if not calibration:
        return configured, False
    if configured_then is not None and configured_then != saving.to_text(configured):
        return configured, True
    return saving.from_text(CurrentSensor, calibration), False
