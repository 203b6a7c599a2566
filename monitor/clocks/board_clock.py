"""The clocks of a Linux machine, and who vouches for the wall clock."""
import time
from collections.abc import Callable
from pathlib import Path

from monitor.clocks import testimony
from monitor.clocks.clock import UNKNOWN_S, Trust, Witness

#: A clock chip with its own battery drifts some seconds a day; set once a month.
CHIP_SIGMA_S = 60.0
#: After a boot the chip is asked by itself for so long [s]: some minutes later the kernel writes the network's time into
#: it (every eleven minutes, Linux kernel/time/ntp.c), and it says nothing of its own any more.
CHIP_ITS_OWN_S = 300.0
#: adjtimex(2): the clock is kept by nobody
STA_UNSYNC = 0x0040


class BoardClock:
    """CLOCK_BOOTTIME for measuring, CLOCK_REALTIME for showing (clock_gettime(2))."""

    def __init__(self, wake: Callable[[float], object], root: Path = Path("/")) -> None:
        self._wake, self._root = wake, root
        self._boot_id = _text(root / "proc/sys/kernel/random/boot_id") or "unknown boot"
        self._kernel_says = _adjtimex()

    def boot_s(self) -> float:
        return time.clock_gettime(time.CLOCK_BOOTTIME)

    def utc_s(self) -> float:
        return time.time()

    def boot_id(self) -> str:
        return self._boot_id

    def hour(self, utc_s: float) -> float:
        local = time.localtime(utc_s)
        return local.tm_hour + local.tm_min / 60 + (local.tm_sec + utc_s % 1) / 3600

    def wait(self, until_boot_s: float) -> None:
        pause = until_boot_s - self.boot_s()
        if pause > 0:
            self._wake(pause)

    def trust(self) -> Trust:
        """The kernel's own flag, set by whatever keeps network or satellite time; else a clock chip that was set into
        the clock at boot and shows a possible date; else nobody."""
        if testimony.possible(time.time()):
            sigma_s = self._kernel_says()
            if sigma_s is not None:
                return Trust(True, max(sigma_s, 0.01), "network or satellite time")
            if (self._root / "run/systemd/timesync/synchronized").exists():
                return Trust(True, 0.5, "network time")
            if _text(self._root / "sys/class/rtc/rtc0/hctosys") == "1":
                return Trust(True, CHIP_SIGMA_S, testimony.CHIP)
        return Trust(False, UNKNOWN_S, "nobody")

    def witnesses(self) -> tuple[Witness, ...]:
        """The clock chip by itself, as long as the kernel has not set it in this boot (sysfs-class-rtc: since_epoch)."""
        if self.boot_s() > CHIP_ITS_OWN_S:
            return ()
        shown = _text(self._root / "sys/class/rtc/rtc0/since_epoch")
        return (Witness(float(shown), CHIP_SIGMA_S, testimony.CHIP),) if shown.isdecimal() and len(shown) < 12 else ()


def _adjtimex() -> Callable[[], float | None]:
    """A question to the kernel: sigma of the wall clock [s] where it is kept by somebody, else None (adjtimex(2))."""
    try:
        import ctypes

        libc = ctypes.CDLL(None)
        libc.adjtimex  # noqa: B018  some C libraries have none
    except (ImportError, OSError, AttributeError, MemoryError):
        return lambda: None

    class Timex(ctypes.Structure):
        """struct timex, Linux man-pages 6.03; the tail is room to spare."""

        _fields_ = [
            ("modes", ctypes.c_uint), ("offset", ctypes.c_long), ("freq", ctypes.c_long), ("maxerror", ctypes.c_long),
            ("esterror", ctypes.c_long), ("status", ctypes.c_int), ("rest", ctypes.c_byte * 256)]

    def ask() -> float | None:
        state = Timex()
        if libc.adjtimex(ctypes.byref(state)) < 0 or state.status & STA_UNSYNC:
            return None
        error_us: int = state.esterror
        return error_us / 1e6

    return ask


def _text(file: Path) -> str:
    try:
        return file.read_text().strip()
    except OSError:
        return ""
