"""What CAN, I2C, GPIO and MQTT drivers make of single messages, byte by byte."""
import fcntl
import json
import time
from pathlib import Path

import can
import pytest
from pydantic import ValidationError

from drivers.can_rvc import CanRvcDriver
from drivers.errors import CannotOpen, ReadFailed
from drivers.gpio import GpioDriver
from drivers.i2c import I2cDriver
from drivers.mqtt import MqttDriver
from tests.drivers.buses import Broker
from tests.drivers.stand_ins import GpioLine, I2cBus, I2cChip

STATUS_1, STATUS_2 = 0x19FFFD00, 0x19FFFC00


class Network:
    """A virtual CAN bus with the driver at one end and us at the other."""

    def __init__(self, measures: dict) -> None:
        self.bus = can.Bus(interface="virtual", channel=f"net-{id(self)}", ignore_config=True)
        self.driver = CanRvcDriver(CanRvcDriver.Options.model_validate({
            "interface": "virtual", "channel": f"net-{id(self)}", "timeout_s": 0.05, "max_age_s": 0.3, "measures": measures}))

    def __enter__(self) -> "Network":
        return self

    def __exit__(self, *_: object) -> None:
        self.driver.close()
        self.bus.shutdown()

    def say(self, identifier: int, text: str) -> None:
        self.bus.send(can.Message(arbitration_id=identifier, data=bytes.fromhex(text), is_extended_id=True))


@pytest.mark.parametrize(("text", "volts", "amperes"), [
    ("01 78 FD 00 C7 63 35 77", 12.65, -12.345),
    ("01 78 20 01 00 94 35 77", 14.40, 0.0),
])
def test_rvc_status_1_is_read_as_published(text: str, volts: float, amperes: float) -> None:
    """RV-C DC_SOURCE_STATUS_1: 12.65 V is FD 00, -12.345 A is C7 63 35 77, 0 A is 00 94 35 77, low byte first."""
    with Network({"house_voltage_v": 1, "house_current_a": 1}) as network:
        network.say(STATUS_1 | 0x46, text)
        values = network.driver.read().values
    assert values == {"house_voltage_v": pytest.approx(volts), "house_current_a": pytest.approx(amperes, abs=1e-6)}


def test_rvc_status_2_is_read_as_published() -> None:
    """RV-C DC_SOURCE_STATUS_2: 25 °C is 0x2540."""
    with Network({"starter_temperature_c": 2}) as network:
        network.say(STATUS_2 | 0x46, "02 78 40 25 FF FF FF FF")
        assert network.driver.read().values == {"starter_temperature_c": 25.0}


def test_rvc_instances_are_kept_apart() -> None:
    """Instance 1 is the main house battery, 2 the chassis start battery."""
    with Network({"house_voltage_v": 1, "starter_voltage_v": 2}) as network:
        network.say(STATUS_1 | 0x46, "01 78 FD 00 00 94 35 77")
        network.say(STATUS_1 | 0x46, "02 78 20 01 00 94 35 77")
        network.say(STATUS_1 | 0x46, "03 78 90 01 00 94 35 77")
        assert network.driver.read().values == {"house_voltage_v": pytest.approx(12.65), "starter_voltage_v": pytest.approx(14.4)}


def test_the_device_of_highest_priority_speaks_for_an_rvc_instance() -> None:
    with Network({"house_voltage_v": 1}) as network:
        network.say(STATUS_1 | 0x46, "01 78 FD 00 00 94 35 77")   # 120: 12.65 V
        network.say(STATUS_1 | 0x47, "01 14 20 01 00 94 35 77")   # 20, a voltmeter, and later: 14.40 V
        assert network.driver.read().values == {"house_voltage_v": pytest.approx(12.65)}
        time.sleep(0.35)
        network.say(STATUS_1 | 0x47, "01 14 20 01 00 94 35 77")   # the first is silent: the voltmeter must do
        assert network.driver.read().values == {"house_voltage_v": pytest.approx(14.4)}


@pytest.mark.parametrize("field", ["FF FF", "FE FF", "FD FF"])
def test_an_rvc_field_that_is_not_available_is_a_fault_and_the_other_is_read(field: str) -> None:
    with Network({"house_voltage_v": 1, "house_current_a": 1}) as network:
        network.say(STATUS_1 | 0x46, f"01 78 {field} 00 94 35 77")
        reading = network.driver.read()
    assert reading.values == {"house_current_a": pytest.approx(0.0, abs=1e-6)}
    assert [f.quantity for f in reading.faults] == ["house_voltage_v"] and "not available" in reading.faults[0].reason


def test_other_traffic_is_passed_over() -> None:
    with Network({"house_voltage_v": 1}) as network:
        network.say(0x19FECA46, "01 78 FD 00 00 94 35 77")
        network.bus.send(can.Message(arbitration_id=0x7FD, data=bytes(8), is_extended_id=False))
        with pytest.raises(ReadFailed, match="instance 1 was not heard"):
            network.driver.read()


def test_rvc_has_no_ignition() -> None:
    with pytest.raises(ValidationError, match="volts, amperes and degrees"):
        CanRvcDriver.Options.model_validate({"measures": {"ignition_on": 1}})


def test_a_can_interface_that_is_not_there_says_so() -> None:
    with pytest.raises(CannotOpen, match="nocan9.*is the interface there"):
        CanRvcDriver(CanRvcDriver.Options.model_validate({"channel": "nocan9", "measures": {"house_voltage_v": 1}}))


def test_a_chip_that_lost_its_supply_is_noticed_and_set_up_again() -> None:
    """It answers in another scale then: half or double the truth, and plausible."""
    chip = I2cChip()
    driver = chip.driver(chip.options)
    chip.power_up()
    with pytest.raises(ReadFailed, match="holds 0000, not the beef.*supply"):
        driver.read()
    assert driver.read().values == pytest.approx(chip.shows)


def _register(chip: I2cChip, **register) -> float:
    chip.registers[7] = register.pop("holds")
    options = chip.options.model_validate({"bus": 1, "address": 0x23, "measures": {"house_current_a": {"register": 7, **register}}})
    return I2cDriver(options, opener=lambda bus: I2cBus(chip)).read().values["house_current_a"]


@pytest.mark.parametrize(("holds", "more", "value"), [
    (b"\xff\xfe", {"scale": 0.5}, -1.0),                                       # two's complement
    (b"\xff\xfe", {"scale": 0.5, "signed": False}, 32767.0),
    (b"\xfe\xff", {"scale": 0.5, "byte_order": "little"}, -1.0),
    (b"\xff\xe0", {"scale": 1.0, "shift": 4}, -2.0),                           # left-aligned 12 bits keep their sign
    (b"\xff\xff\xfd", {"scale": 1.0, "width": 3, "offset": 10.0}, 7.0),
    (b"\x00\x00\x01\x00", {"scale": -0.01, "width": 4}, -2.56),                # a shunt that counts the other way
])
def test_registers_are_read_as_described(holds: bytes, more: dict, value: float) -> None:
    assert _register(I2cChip(), holds=holds, **more) == pytest.approx(value)


@pytest.mark.parametrize(("holds", "more", "words"), [
    (b"\x7f\xff", {}, "saturated"), (b"\x80\x00", {}, "saturated"), (b"\x7f\xf0", {"shift": 4}, "saturated"),
    (b"\xff\xff", {"signed": False}, "saturated"), (b"\x00\x2a", {"invalid": [42]}, "invalid")])
def test_a_saturated_or_invalid_register_is_no_measurement(holds: bytes, more: dict, words: str) -> None:
    with pytest.raises(ReadFailed, match=words):
        _register(I2cChip(), holds=holds, scale=1.0, **more)


@pytest.mark.parametrize(("change", "words"), [
    ({"address": 0x02}, "greater than or equal to 8"), ({"setup": [{"register": 0, "value": 70000}]}, "does not fit"),
    ({"measures": {"house_voltage_v": {"register": 1, "scale": 1, "wait_s": 0.6}}}, "no room")])
def test_wrong_i2c_descriptions_are_refused_before_anything_is_opened(change: dict, words: str) -> None:
    good = {"bus": 1, "address": 0x23, "measures": {"house_voltage_v": {"register": 1, "scale": 1}}}
    with pytest.raises(ValidationError, match=words):
        I2cDriver.Options.model_validate({**good, **change})


def test_an_i2c_bus_that_is_not_there_says_so() -> None:
    """The kernel's own answer, through the real library."""
    with pytest.raises(CannotOpen, match="/dev/i2c-250.*No such file"):
        I2cDriver(I2cDriver.Options.model_validate({"bus": 250, "address": 0x23,
                                                    "measures": {"house_voltage_v": {"register": 1, "scale": 1}}}))


def test_a_gpio_chip_that_is_not_there_says_so() -> None:
    """The kernel's own answer, through the real library."""
    with pytest.raises(CannotOpen, match="/dev/gpiochip250.*No such file"):
        GpioDriver(GpioDriver.Options.model_validate({"chip": "/dev/gpiochip250", "measures": {"ignition_on": 17}}))


def test_a_gpio_line_is_asked_for_as_an_input_and_turned_round_by_the_kernel() -> None:
    line = GpioLine()
    line.driver(line.options)
    assert (line.settings.direction.name, line.settings.active_low) == ("INPUT", True)


@pytest.fixture
def broker(tmp_path: Path):
    made = Broker(tmp_path)
    yield made
    made.close()


def _mqtt(broker: Broker, measures: dict) -> MqttDriver:
    return MqttDriver(MqttDriver.Options.model_validate({"tcp_port": broker.port, "timeout_s": 0.3, "max_age_s": 5, "measures": measures}))


def test_a_retained_message_is_not_a_measurement(broker: Broker) -> None:
    """The broker hands it on at once, and nobody can tell whether it is from today."""
    broker.publisher.publish("van/old", "12.8", qos=1, retain=True).wait_for_publish(5)
    driver = _mqtt(broker, {"starter_voltage_v": "van/old"})
    with pytest.raises(ReadFailed, match="van/old: no message yet"):
        driver.read()
    broker.publisher.publish("van/old", "12.9", qos=1).wait_for_publish(5)
    assert driver.read().values == {"starter_voltage_v": 12.9}
    driver.close()


@pytest.mark.parametrize(("payload", "value"), [("12.5", 12.5), (" 1e1\n", 10.0), ("-3", -3.0)])
def test_numbers_are_read_from_messages(broker: Broker, payload: str, value: float) -> None:
    driver = _mqtt(broker, {"solar_current_a": "van/sun"})
    broker.publisher.publish("van/sun", payload, qos=1).wait_for_publish(5)
    assert driver.read().values == {"solar_current_a": value}
    driver.close()


def test_nonsense_in_a_message_is_a_failed_reading_with_what_was_seen(broker: Broker) -> None:
    driver = _mqtt(broker, {"solar_current_a": {"topic": "van/sun", "field": "a.b"}})
    for payload in ("", "nan", "{", "[]", "12", json.dumps({"a": {"b": None}}), json.dumps({"a": {"b": [1]}}),
                    '{"a": {"b": Infinity}}', "[" * 5000):
        broker.publisher.publish("van/sun", payload, qos=1).wait_for_publish(5)
        with pytest.raises(ReadFailed, match="no number in field a.b"):
            driver.read()
    driver.close()


def test_a_broker_that_is_not_there_says_so() -> None:
    with pytest.raises(CannotOpen, match="127.0.0.1:9.*is the broker running"):
        MqttDriver(MqttDriver.Options.model_validate({"tcp_port": 9, "measures": {"house_voltage_v": "a"}}))


def test_two_programs_take_turns_at_a_chip_on_i2c(tmp_path: Path) -> None:
    """One chooses an input of the converter, the other must not choose another before it has been read."""
    file = tmp_path / "i2c-1"
    file.touch()

    class Bus(I2cBus):
        """Over an ordinary file, which can be locked as a device file can."""

        def __init__(self) -> None:
            super().__init__(chip)
            self.file = open(file)
            self.fd = self.file.fileno()

        def close(self) -> None:
            super().close()
            self.file.close()

    chip = I2cChip()
    driver = I2cDriver(chip.options.model_copy(update={"timeout_s": 0.1}), opener=lambda options: Bus())
    with open(file) as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        with pytest.raises(ReadFailed, match="another program did not let go"):
            driver.read()
    for _ in range(2):
        assert driver.read().values == pytest.approx(chip.shows)
    with open(file) as other:
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)  # between readings it is free
    driver.close()
