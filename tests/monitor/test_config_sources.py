"""Faults inside a source: each is named by its place, and the nearest right word is offered."""
from pathlib import Path

import pytest

from monitor.config.faults import ConfigError
from monitor.config.load import load

VEHICLE = """
[house]
chemistry = "agm"
rated_capacity_ah = 100
[starter]
chemistry = "agm"
rated_capacity_ah = 70
[[source]]
"""


@pytest.mark.parametrize(("source", "words"), [
    ('driver = "hwmon"\nchip = "x"\nmeasures = { house_voltage_v = { channel = "in1", ratoi = 3 } }',
     "[source] number 1 measures.house_voltage_v.ratoi = 3: this key is not known; did you mean ratio?"),
    ('driver = "hwmon"\nchip = "x"\nmeasures = { house_voltage = "in1" }',
     "[source] number 1 measures.house_voltage: this is not a quantity; did you mean house_voltage_v?"),
    ('driver = "i2c"\nbus = 1\naddress = 0x40\nmeasures = { house_voltage_v = { registr = 1, scale = 1 } }',
     "registr = 1: this key is not known; did you mean register?"),
    ('driver = "modbus"\nhost = "10.0.0.1"\nmeasures = { house_voltage_v = { type = "INT16" } }',
     "measures.house_voltage_v.address: is missing; it is as on the wire, counted from 0"),
    ('driver = "hwmom"\nchip = "x"', "no driver called 'hwmom'"),
])
def test_a_wrong_word_in_a_source_is_named_with_what_to_write(tmp_path: Path, source: str, words: str) -> None:
    file = tmp_path / "ampledger.toml"
    file.write_text(VEHICLE + source)
    with pytest.raises(ConfigError) as caught:
        load(file)
    assert words in str(caught.value)
