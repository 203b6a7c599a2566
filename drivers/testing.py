"""The promises every driver keeps, as tests for yours: subclass DriverPromises and provide a counterpart.

A counterpart is the real thing at the other end of the driver: a folder shaped like the kernel's, a
pseudo-terminal, a server on loopback. It can show values, go wrong, go away and come back.

    from drivers.testing import DriverPromises

    class TestMyDriver(DriverPromises):
        @pytest.fixture
        def counterpart(self, tmp_path):
            with MyCounterpart(tmp_path) as counterpart:
                yield counterpart
"""
import os
import time
from contextlib import suppress
from typing import Any, Protocol

import pytest

from drivers.errors import CannotOpen, DriverError, ReadFailed
from drivers.reading import QUANTITIES, Reading

#: Ways of going wrong: no answer, nonsense, a message cut short, a checksum that does not fit, an answer too late.
TROUBLES = ("silence", "garbage", "half", "checksum", "late")


class Counterpart(Protocol):
    """The other end."""

    driver: type            # the driver's class
    options: Any            # its checked options
    shows: dict[str, float]     # quantity -> value that the driver must read, signs and units included
    other: dict[str, float]     # another set of values, to see that readings change
    within: float               # how close a reading must come to a shown value (resolution of the instrument)

    def show(self, values: dict[str, float]) -> None: ...

    def trouble(self, how: str) -> bool:
        """Go wrong in one of the TROUBLES; False where that cannot happen to this kind of instrument."""

    def mend(self) -> None: ...

    def leave(self) -> bool:
        """Be unplugged; False where that cannot happen."""

    def come_back(self) -> None:
        """Be plugged in again, under another number or name where the system would give it one."""


class DriverPromises:
    """What must hold for every driver. `counterpart` is a fixture of the subclass."""

    def _values(self, driver: Any, counterpart: Counterpart) -> dict[str, float]:
        started = time.monotonic()
        reading = driver.read()
        assert time.monotonic() - started < counterpart.options.timeout_s + 0.5
        assert isinstance(reading, Reading)
        return reading.values

    def _reads(self, driver: Any, counterpart: Counterpart, values: dict[str, float], within_s: float = 5.0) -> None:
        """The driver shows these values, at once or after the few readings that a link needs to recover."""
        end = time.monotonic() + within_s
        while True:
            try:
                seen = self._values(driver, counterpart)
                if all(abs(seen.get(q, 1e9) - v) <= counterpart.within for q, v in values.items()):
                    return
            except ReadFailed:
                seen = {}
            assert time.monotonic() < end, f"wanted {values}, got {seen}"
            time.sleep(0.02)

    def test_it_reads_units_and_signs_as_promised(self, counterpart: Counterpart) -> None:
        driver = counterpart.driver(counterpart.options)
        try:
            self._reads(driver, counterpart, counterpart.shows)
            assert set(driver.read().values) <= set(QUANTITIES)
            counterpart.show(counterpart.other)
            self._reads(driver, counterpart, counterpart.other)
        finally:
            driver.close()

    @pytest.mark.parametrize("how", TROUBLES)
    def test_trouble_is_a_failed_reading_and_never_a_wrong_number(self, counterpart: Counterpart, how: str) -> None:
        driver = counterpart.driver(counterpart.options)
        try:
            self._reads(driver, counterpart, counterpart.shows)
            if not counterpart.trouble(how):
                pytest.skip(f"{how} cannot happen to {counterpart.driver.__name__}")
            failed = readings = 0
            # a driver that listens may use what it heard for as long as its option max_age_s says
            noticed = time.monotonic() + getattr(counterpart.options, "max_age_s", 0.0) + 0.1
            while readings < 3 or time.monotonic() < noticed:
                readings += 1
                started = time.monotonic()
                try:
                    reading = driver.read()
                    for quantity, value in reading.values.items():
                        assert abs(value - counterpart.shows[quantity]) <= counterpart.within, f"{how}: {quantity} {value}"
                    failed += bool(reading.faults)
                except ReadFailed as error:
                    failed += 1
                    assert str(error)
                assert time.monotonic() - started < counterpart.options.timeout_s + 0.5, "no hang"
            assert failed, f"{how} went unnoticed"
            counterpart.mend()
            self._reads(driver, counterpart, counterpart.shows)
        finally:
            driver.close()

    def test_it_survives_being_unplugged_and_plugged_in_again(self, counterpart: Counterpart) -> None:
        driver = counterpart.driver(counterpart.options)
        try:
            self._reads(driver, counterpart, counterpart.shows)
            if not counterpart.leave():
                pytest.skip(f"{counterpart.driver.__name__} cannot be unplugged")
            with pytest.raises(ReadFailed):
                for _ in range(3):
                    driver.read()
            counterpart.come_back()
            self._reads(driver, counterpart, counterpart.shows)
        finally:
            driver.close()

    def test_an_instrument_that_is_not_there_cannot_be_opened_or_read(self, counterpart: Counterpart) -> None:
        if not counterpart.leave():
            pytest.skip(f"{counterpart.driver.__name__} is always there")
        with pytest.raises((CannotOpen, ReadFailed)) as caught:
            driver = counterpart.driver(counterpart.options)
            try:
                driver.read()
            finally:
                driver.close()
        assert isinstance(caught.value, DriverError) and len(str(caught.value)) > 10

    def test_a_frozen_instrument_keeps_giving_its_value_and_nothing_else(self, counterpart: Counterpart) -> None:
        """Whether a value has been frozen too long is for the sampler to judge: the driver passes it on."""
        driver = counterpart.driver(counterpart.options)
        try:
            self._reads(driver, counterpart, counterpart.shows)
            for _ in range(5):
                self._reads(driver, counterpart, counterpart.shows)
        finally:
            driver.close()

    def test_thousands_of_readings_leave_no_file_open(self, counterpart: Counterpart) -> None:
        """Ten thousand where that takes no longer than the counterpart's `patience_s`, half a second if it has none."""
        driver = counterpart.driver(counterpart.options)
        self._reads(driver, counterpart, counterpart.shows)
        before = _open_files()
        self._many(counterpart, driver.read)
        assert _open_files() <= before + 1
        driver.close()
        driver.close()  # closing twice is no mistake

    def test_opening_and_closing_leaves_no_file_open(self, counterpart: Counterpart) -> None:
        def cycle() -> None:
            driver = counterpart.driver(counterpart.options)
            try:
                driver.read()
            finally:
                driver.close()

        cycle()
        before = _open_files()
        self._many(counterpart, cycle)
        assert _open_files() <= before + 1

    def _many(self, counterpart: Counterpart, once: Any) -> None:
        end = time.monotonic() + getattr(counterpart, "patience_s", 0.5)
        for count in range(10_000):
            with suppress(ReadFailed):  # on a busy machine a counterpart may come too late
                once()
            if count >= 20 and time.monotonic() > end:
                break


def _open_files() -> int:
    return len(os.listdir("/proc/self/fd"))
