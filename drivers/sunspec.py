"""A battery that speaks the open SunSpec model 802 over Modbus: finds the model by itself."""
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from drivers.channels import Quantity
from drivers.errors import CannotOpen, ReadFailed
from drivers.hwmon import read_channels
from drivers.modbus import Link, Place, Refused, number
from drivers.reading import Reading

#: Where a map may begin, and the two words it begins with: "SunS" [1].
BEGINS, MARK = (40000, 50000, 0), [0x5375, 0x6E53]
MODEL, LENGTH, END = 802, 62, 0xFFFF
#: point -> (place in the model, type, number for "not implemented", place of its scale factor) [1]
POINTS = {"V": (34, "UINT16", 0xFFFF, 59), "A": (44, "INT16", -0x8000, 61)}
MOST_MODELS = 64


class Point(BaseModel):
    """One point of the model, and what its value is multiplied by."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    point: Literal["V", "A"] = Field(description="V, the voltage, or A, the current")
    scale: float = Field(1.0, description="factor; -1 turns the sign round")
    offset: float = Field(0.0, description="added last, in the quantity's unit")

    @property
    def channel(self) -> str:
        """The point's name."""
        return self.point

    def convert(self, value: float) -> float:
        """The quantity from the point's value."""
        return value * self.scale + self.offset


class SunspecOptions(Place):
    """Where the device is, and which points are read."""

    begins: int | None = Field(None, ge=0, le=65000, description="where its map begins, if not at 40000, 50000 or 0")
    measures: Annotated[dict[Quantity, Annotated[Point, BeforeValidator(
        lambda value: {"point": value} if isinstance(value, str) else value)]], Field(
            min_length=1, description='a table [source.measures] with house_voltage_v = "V", house_current_a = "A"')]

    @model_validator(mode="after")
    def _points_fit(self) -> "SunspecOptions":
        for quantity, spec in self.measures.items():
            if not quantity.endswith({"V": "_voltage_v", "A": "_current_a"}[spec.point]):
                raise ValueError(f"{quantity} cannot come from point {spec.point}")
        return self


class SunspecDriver:
    """One battery. The whole model is read in one message, its own number included: a map that moved is noticed.

    [1] SunSpec Alliance, SunSpec information models, model 802 "Battery Base Model" (json/model_802.json of the
        public model repository, Apache-2.0), and the SunSpec Device Information Model Specification for finding it.
        The model says current "to/from the battery" without a sign: find yours out by switching a load on.
    """

    Options = SunspecOptions

    def __init__(self, options: SunspecOptions) -> None:
        self._options, self._link = options, Link(options)
        try:
            self._at = self._find()
        except ReadFailed as error:
            self._link.drop()
            raise CannotOpen(str(error)) from error

    def read(self) -> Reading:
        words = self._link.ask("holding", self._at, LENGTH + 2)
        if words[0] != MODEL or words[1] < LENGTH:
            raise ReadFailed(f"{self._link}, register {self._at}: holds model {words[0]}, no longer {MODEL}")

        def value(point: str) -> float:
            place, kind, missing, scale_place = POINTS[point]
            raw, exponent = number([words[place]], kind), number([words[scale_place]], "INT16")
            if raw == missing:
                raise ReadFailed(f"{self._link}: the device says that point {point} is not available")
            if not -10 <= exponent <= 10:
                raise ReadFailed(f"{self._link}: point {point} has no scale factor ({exponent:g})")
            return raw * 10**exponent

        return read_channels(self._options.measures, value)

    def close(self) -> None:
        self._link.drop()

    def _find(self) -> int:
        """The register in which model 802 begins."""
        begins = BEGINS if self._options.begins is None else (self._options.begins,)
        for begin in begins:
            try:
                if self._link.ask("holding", begin, 2) != MARK:
                    continue
            except Refused:
                continue
            at, seen = begin + 2, []
            for _ in range(MOST_MODELS):
                model, length = self._link.ask("holding", at, 2)
                if model == MODEL and length >= LENGTH:
                    return at
                if model == END:
                    break
                seen.append(str(model))
                at += length + 2
                if at > 65533:
                    break
            raise ReadFailed(f"{self._link}: has no SunSpec battery model 802; it has {', '.join(seen) or 'none'}")
        raise ReadFailed(f"{self._link}: no SunSpec map begins at {' or '.join(map(str, begins))}")
