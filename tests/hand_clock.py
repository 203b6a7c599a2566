"""A clock moved by hand."""
from monitor.clocks.clock import UNKNOWN_S, Trust, Witness

NOBODY = Trust(False, UNKNOWN_S, "nobody")
NETWORK = Trust(True, 0.05, "network or satellite time")


class HandClock:
    """Nothing passes unless a test says so."""

    def __init__(self, boot_s: float = 10.0, utc_s: float = 1782000010.0, boot: str = "first boot", trust: Trust = NETWORK) -> None:
        self.now_boot_s, self.now_utc_s, self.boot, self.vouched = boot_s, utc_s, boot, trust
        self.others: tuple[Witness, ...] = ()

    def boot_s(self) -> float:
        return self.now_boot_s

    def utc_s(self) -> float:
        return self.now_utc_s

    def boot_id(self) -> str:
        return self.boot

    def trust(self) -> Trust:
        return self.vouched

    def witnesses(self) -> tuple[Witness, ...]:
        return self.others

    def hour(self, utc_s: float) -> float:
        return utc_s / 3600 % 24

    def wait(self, until_boot_s: float) -> None:
        self.move(max(until_boot_s - self.now_boot_s, 0.0))

    def move(self, seconds: float) -> None:
        """Time passes, on both clocks."""
        self.now_boot_s += seconds
        self.now_utc_s += seconds

    def set_wall(self, utc_s: float) -> None:
        """Somebody sets the wall clock."""
        self.now_utc_s = utc_s

    def reboot(self, boot: str, off_s: float, trust: Trust | None = None, utc_s: float | None = None) -> None:
        """The power was off for so long; the wall clock then shows utc_s (default: the right time)."""
        self.now_utc_s += off_s
        if utc_s is not None:
            self.now_utc_s = utc_s
        self.now_boot_s, self.boot, self.vouched = 8.0, boot, trust or self.vouched
