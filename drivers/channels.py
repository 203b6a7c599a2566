"""What a source measures: quantity by quantity, the channel it comes from and how to scale it."""
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Quantity = Literal[
    "house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c", "starter_temperature_c",
    "ambient_temperature_c", "solar_current_a", "solar_2_current_a", "ignition_on",
]


class Channel(BaseModel):
    """One channel, in the driver's own words, and what its value is multiplied by.

    ratio is a voltage divider's: battery volts over pin volts (5.0 for a 4:1 pair of resistors).
    scale corrects anything else: -1 for a shunt that counts the other way, a shunt's own factor.
    offset is added last, in the quantity's unit.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, coerce_numbers_to_str=True)
    channel: str = Field(min_length=1, description="the channel's name, as in1 or in_voltage0")
    ratio: float = Field(1.0, gt=0, le=1000, description="battery volts over pin volts of a voltage divider")
    scale: float = Field(1.0, description="factor; -1 turns the sign round")
    offset: float = Field(0.0, description="added last, in the quantity's unit")

    def convert(self, value: float) -> float:
        """The quantity from the channel's value, both in the quantity's unit."""
        return value * self.ratio * self.scale + self.offset


def _short(value: object) -> object:
    return {"channel": value} if isinstance(value, str | int) else value


#: A channel as a person writes it: its name, or the small table.
AnyChannel = Annotated[Channel, BeforeValidator(_short)]

Measures = Annotated[
    dict[Quantity, AnyChannel],
    Field(min_length=1, description='a table [source.measures] with lines such as house_voltage_v = "in1"'),
]


class Options(BaseModel):
    """What every driver's options share."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    timeout_s: float = Field(0.5, gt=0, le=5, description="a reading takes no longer than this")
