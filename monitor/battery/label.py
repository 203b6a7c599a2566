"""The data plates: what the owner knows about both batteries and the vehicle they are in."""
from dataclasses import dataclass
from typing import ClassVar, Literal, get_args

Chemistry = Literal["flooded", "agm", "gel", "lfp"]
CHEMISTRIES: tuple[Chemistry, ...] = get_args(Chemistry)
#: What each kind is called.
KIND_WORDS: dict[str, str] = {"flooded": "flooded lead-acid", "agm": "AGM", "gel": "gel", "lfp": "lithium iron phosphate"}


@dataclass(frozen=True, slots=True)
class Battery:
    """One 12 V battery as its label says.

    rated_capacity_ah is what the label promises at a discharge over rated_hours and 25 °C [Ah].
    reserve_soc_frac is the part that must stay in it (house battery only).
    absorption_v and float_v are the charger's two voltages, None where the owner does not know; equalise_v that of an
    equalising charge that the owner has announced (flooded only); acid_density_kg_l the density of its acid when full, at
    25 °C, None where it is the usual one (flooded only).
    """

    name: Literal["house", "starter"]
    chemistry: Chemistry
    rated_capacity_ah: float
    rated_hours: float = 20.0
    absorption_v: float | None = None
    float_v: float | None = None
    reserve_soc_frac: float = 0.5
    cutout_voltage_v: float | None = None  # the fridge's own low-voltage switch, None: not known
    voltage_sigma_frac: float | None = None  # of its voltmeter once compared with another, None: not compared
    equalise_v: float | None = None
    acid_density_kg_l: float | None = None

    @property
    def lead_acid(self) -> bool:
        return self.chemistry != "lfp"


@dataclass(frozen=True, slots=True)
class CurrentSensor:
    """What commissioning found out about the house shunt: a correction, and how far to trust it.

    The corrected current is (reading - offset_a) * gain. The sigmas are one standard deviation.
    """

    offset_a: float = 0.0
    offset_sigma_a: float = 0.08
    gain: float = 1.0
    gain_sigma_frac: float = 0.006

    def corrected_a(self, reading_a: float) -> float:
        """What flows while the shunt reads this [A]."""
        return (reading_a - self.offset_a) * self.gain


@dataclass(frozen=True, slots=True)
class BoardSupply:
    """How the board that runs this is fed: a load like any other, and one that is on when everything is off.

    through_shunt and past_shunt: from the house battery, its 0 V on the load side of the shunt (right) or on the
    battery's side of it. current_a is what it draws [A], current_sigma_a one standard deviation of it.
    """

    supply: Literal["through_shunt", "past_shunt", "elsewhere", "unknown"] = "unknown"
    current_a: float = 0.0
    current_sigma_a: float = 0.0

    @property
    def house_a(self) -> float:
        """What it takes from the house battery [A], 0 where it is fed from elsewhere or nobody knows."""
        return self.current_a if self.supply in ("through_shunt", "past_shunt") else 0.0


@dataclass(frozen=True, slots=True)
class NamedLoad:
    """A load that its owner has named, and what it was known by then: how it is found again, whatever was lost since.

    number is that of the load among those found in the log; current_a what it draws [A], run_s how long it usually runs [s].
    """

    name: str
    number: int
    current_a: float
    run_s: float


@dataclass(frozen=True, slots=True)
class Vehicle:
    """Both batteries and what is known of the vehicle around them."""

    #: fields that vehicles of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"named_loads"})

    house: Battery
    starter: Battery
    current_sensor: CurrentSensor = CurrentSensor()
    charging: Literal["isolator", "dc_dc", "unknown"] = "unknown"
    isolator_follows: Literal["engine", "voltage", "unknown"] = "unknown"
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    bedtime_hour: float | None = None  # local clock hour; None: learnt from the lights
    board: BoardSupply = BoardSupply()
    named_loads: tuple[NamedLoad, ...] = ()
