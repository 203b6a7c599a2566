"""What one component of the estimate holds: named quantities, their mean and covariance."""
from base64 import b85decode, b85encode
from struct import Struct, calcsize, error, pack, unpack
from zlib import compress, decompressobj
from zlib import error as NotZipped

from monitor.estimation.triangle import Triangle, Vector, place
from monitor.parameters import table
from monitor.replacing import dataclass

#: Where on the charge axis the error of the curve's shape is held.
KNOTS = tuple(charge_frac for charge_frac, _ in table("battery", "lithium_cell").numbers("shape_v"))
NAMES = (
    "charge_frac",         # 1 full, 0 empty
    "offset_a",            # what the shunt reads too high
    "capacity_ln",         # ln Ah
    "loss_frac",           # part of charge lost on the way in
    "hysteresis",          # 1 after charging, -1 after discharging
    "resistance_ohm",      # at 25 °C
    "diffusion_ln",        # ln of its time over the usual one
    "level_v",             # by how much the whole curve lies too high
    "axis_bottom_frac",    # by how much more charge than the curve says it stands in, near empty
    "axis_step_frac",      # likewise at graphite's step
    "axis_top_frac",       # likewise where it rises to full
    "slow_v",              # slow error of the model, comes and goes
    "kinetic_ln",          # ln of the kinetic part of the gap over the usual one
    "kinetic_activation",  # error of its activation energy, in sigmas
    "diffusion_activation",
    "filling_ln",          # by how much fuller graphite is at full than the curve's
    "axis_slow_frac",      # slow error of the model along the charge axis, comes and goes with charge that passes
    *(f"shape_{round(100 * z):02d}_v" for z in KNOTS),
)
(CHARGE, OFFSET, CAPACITY, LOSS, HYSTERESIS, RESISTANCE, DIFFUSION, LEVEL, AXIS_BOTTOM, AXIS_STEP, AXIS_TOP, SLOW, KINETIC,
 KINETIC_ACTIVATION, DIFFUSION_ACTIVATION, FILLING, AXIS_SLOW, SHAPE) = range(18)
SIZE = len(NAMES)


@dataclass(frozen=True, slots=True)
class Component:
    """One Gaussian of the mixture: log of its weight, its curve family, mean and covariance (its lower triangle)."""

    log_weight: float
    family: int
    mean: Vector
    covariance: Triangle

    def variance(self, i: int, j: int | None = None) -> float:
        """Variance of a quantity, or its covariance with another."""
        return self.covariance[place(i, i if j is None else j)]

    def rounded(self) -> "Component":
        """The same with a covariance that fits into 32 bits a number, so that it is saved short and comes back bit for bit."""
        return Component(self.log_weight, self.family, self.mean, _SHORT.unpack(_SHORT.pack(*self.covariance)))

    def to_plain(self) -> dict[str, str]:
        """Text to save it as; exact for a rounded one."""
        numbers = pack(_DOUBLES, self.log_weight, float(self.family), *self.mean) + pack(_FLOATS, *self.covariance)
        return {"zipped": b85encode(compress(numbers)).decode()}

    @classmethod
    def from_plain(cls, plain: dict[str, str]) -> "Component":
        """The component that to_plain wrote.

        Raises
        ------
        ValueError : it is of another length, or no such text
        """
        try:
            split, whole = calcsize(_DOUBLES), calcsize(_DOUBLES) + calcsize(_FLOATS)
            numbers = decompressobj().decompress(b85decode(plain["zipped"]), whole + 1)
            log_weight, family, *mean = unpack(_DOUBLES, numbers[:split])
            return cls(log_weight, int(family), tuple(mean), unpack(_FLOATS, numbers[split:]))
        except (error, NotZipped) as cause:
            raise ValueError(f"a component of another size: {cause}") from cause


_DOUBLES, _FLOATS = f"<{SIZE + 2}d", f"<{SIZE * (SIZE + 1) // 2}f"
_SHORT = Struct(_FLOATS[1:])      # in the machine's own order of bytes, which takes less time

Mixture = tuple[Component, ...]
