"""One beat's readings, and the minute they are gathered into."""
from dataclasses import field

from monitor.replacing import dataclass


@dataclass(frozen=True, slots=True)
class Sample:
    """Everything measured on one beat, already judged: None means not measured.

    at_s runs on the log's own line of time: it never goes back, counts suspend, and continues
    across restarts. hour is the local clock hour (0 to 24) where a clock is trusted, else None;
    year_day (1 on the first of January) likewise.
    doubt_s says how unsure the time since the sample before is (after a restart with no trusted
    clock); 0 otherwise. Currents are positive into the battery.
    """

    at_s: float
    house_voltage_v: float | None = None
    house_current_a: float | None = None
    starter_voltage_v: float | None = None
    house_temperature_c: float | None = None
    starter_temperature_c: float | None = None
    ambient_temperature_c: float | None = None
    solar_current_a: float | None = None
    ignition_on: float | None = None
    hour: float | None = None
    year_day: float | None = None
    doubt_s: float = 0.0
    fast_starter: tuple[tuple[float, float], ...] = ()  # (seconds, volts) around a start, 20 Hz or more


@dataclass(frozen=True, slots=True)
class Minute:
    """The samples of one minute with what every tracker needs of them; one step of every tracker.

    Lasts 60 s at the ordinary beat, longer where readings come more slowly than that.
    start_s is the time of the last sample before it, end_s of its own last sample.
    gap_s is the part of that span in which the current was not measured (0 in normal life),
    gap_doubt_s how unsure its length is. Means are weighted by time; charge_in_ah and charge_out_ah come from
    the trapezoidal rule over covered_s seconds, both positive, measured (uncorrected) current.
    energy_in_wh and energy_out_wh likewise.
    """

    start_s: float
    end_s: float
    samples: tuple[Sample, ...] = field(repr=False)
    gap_s: float = 0.0
    gap_doubt_s: float = 0.0
    covered_s: float = 0.0
    house_current_a: float | None = None
    house_current_low_a: float | None = None
    house_current_high_a: float | None = None
    charge_in_ah: float = 0.0
    charge_out_ah: float = 0.0
    energy_in_wh: float = 0.0
    energy_out_wh: float = 0.0
    house_voltage_v: float | None = None
    house_voltage_low_v: float | None = None
    house_voltage_high_v: float | None = None
    starter_voltage_v: float | None = None
    starter_voltage_low_v: float | None = None
    starter_voltage_high_v: float | None = None
    house_temperature_c: float | None = None
    starter_temperature_c: float | None = None
    ambient_temperature_c: float | None = None
    solar_current_a: float | None = None
    ignition_on: float | None = None
    hour: float | None = None
    year_day: float | None = None
    fast_starter: tuple[tuple[float, float], ...] = ()  # of all its samples, in order
    duration_s: float = field(init=False, repr=False, compare=False)    # every tracker asks for it

    def __post_init__(self) -> None:
        object.__setattr__(self, "duration_s", self.end_s - self.start_s)
