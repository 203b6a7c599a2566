"""A switched wire, such as the ignition, at an input of the board; the only file that knows gpiod."""
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal

import gpiod
from gpiod.line import Bias, Direction, Value
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from drivers.channels import Options
from drivers.errors import ReadFailed, opening
from drivers.reading import Reading

BIASES = {"as_is": Bias.AS_IS, "none": Bias.DISABLED, "pull_up": Bias.PULL_UP, "pull_down": Bias.PULL_DOWN}


class Line(BaseModel):
    """One line of a GPIO chip. active_low: the wire pulls the line down when it is on, as an opto-coupler does."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    line: int = Field(ge=0, le=1023, description="the line's offset in its chip, from 0")
    active_low: bool = False
    bias: Literal["as_is", "none", "pull_up", "pull_down"] = "as_is"


class GpioOptions(Options):
    """Which chip, and which of its lines."""

    chip: str = Field("/dev/gpiochip0", min_length=1, description="device file, or the chip's label")
    measures: Annotated[
        dict[Literal["ignition_on"], Annotated[Line, BeforeValidator(lambda v: {"line": v} if isinstance(v, int) else v)]],
        Field(min_length=1, description="a table [source.measures] with ignition_on = 17, the line")]


class GpioDriver:
    """One input line through the kernel's character device (Linux kernel documentation, "GPIO Character Device").

    `requester` gives the line: gpiod's request_lines, or an object with its two calls in a test. Nothing here has
    been seen by a real chip in our tests.
    """

    Options = GpioOptions

    def __init__(self, options: GpioOptions, requester: Callable[..., Any] = gpiod.request_lines) -> None:
        self._options, self._requester = options, requester
        self._line = options.measures["ignition_on"]
        self._request: Any = None
        with opening():
            self._open()

    def read(self) -> Reading:
        if self._request is None:
            self._open()
        try:
            value = self._request.get_value(self._line.line)
        except (OSError, ValueError) as error:
            self._drop()
            raise ReadFailed(f"{self._where()}: {getattr(error, 'strerror', None) or error}") from error
        if value not in (Value.ACTIVE, Value.INACTIVE):
            raise ReadFailed(f"{self._where()}: {value!r} is neither on nor off")
        return Reading({"ignition_on": 1.0 if value == Value.ACTIVE else 0.0})

    def close(self) -> None:
        self._drop()

    def _open(self) -> None:
        settings = gpiod.LineSettings(direction=Direction.INPUT, active_low=self._line.active_low, bias=BIASES[self._line.bias])
        try:
            self._request = self._requester(_device(self._options.chip), consumer="ampledger", config={self._line.line: settings})
        except (OSError, ValueError) as error:
            raise ReadFailed(f"{self._where()}: {getattr(error, 'strerror', None) or error}; "
                             "does another program hold it, and may this user open it?") from error

    def _drop(self) -> None:
        request, self._request = self._request, None
        if request is not None:
            request.release()

    def _where(self) -> str:
        return f"{self._options.chip}, line {self._line.line}"


def _device(chip: str) -> str:
    """The device file of a chip given by file or by label; chips are numbered in the order they appear."""
    if chip.startswith("/"):
        return chip
    labels = {}
    for path in sorted(Path("/dev").glob("gpiochip*")):
        if gpiod.is_gpiochip_device(str(path)):
            with gpiod.Chip(str(path)) as there:
                labels[there.get_info().label] = str(path)
    if chip not in labels:
        raise ReadFailed(f"no GPIO chip is labelled {chip!r}; there is: {', '.join(sorted(labels)) or 'none'}")
    return labels[chip]
