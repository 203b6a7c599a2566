"""Opening the pages: address and code together or not at all, private networks only, a QR code that reads back."""
from ipaddress import ip_address, ip_network
from pathlib import Path

import pytest
from click.testing import CliRunner
from werkzeug.security import check_password_hash

from dashboard.__main__ import hash_in
from monitor.cli import commands
from monitor.commands import pages
from monitor.config.faults import ConfigError
from monitor.config.load import load
from monitor.process import access_code, network

TEXT = ('[house]\nchemistry = "agm"\nrated_capacity_ah = 100\n[starter]\nchemistry = "agm"\nrated_capacity_ah = 60\n'
        '[[source]]\ndriver = "hwmon"\nchip = "x"\nmeasures = { house_voltage_v = "in1" }\n')


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration whose pages are closed, on a board of which nothing else is touched."""
    monkeypatch.setattr(network, "is_service", lambda: True)
    monkeypatch.setattr(network, "WALL", tmp_path / "wall/network.conf")
    monkeypatch.setattr(network.open_wall, "__defaults__", (tmp_path / "wall/network.conf",))
    monkeypatch.setattr(network.close_wall, "__defaults__", (tmp_path / "wall/network.conf",))
    monkeypatch.setattr(pages, "restart_pages", lambda: True)
    monkeypatch.setattr(network, "list_urls", lambda port, secure=False: [f"http://10.42.0.1:{port}/"])
    (tmp_path / "ampledger.toml").write_text(TEXT)
    return tmp_path / "ampledger.toml"


def _pages(config: Path, *arguments: str) -> str:
    done = CliRunner().invoke(commands, ["pages", *arguments, "-c", str(config)])
    assert done.exit_code == 0, done.output
    return done.output


def _code(said: str) -> str:
    return said.partition("Access code: ")[2].split()[0]


def test_opening_makes_address_wall_and_code_and_closing_takes_all_three(config: Path) -> None:
    said = _pages(config, "open")
    table = load(config).dashboard
    assert table.address == "0.0.0.0:21873" and check_password_hash(table.code_hash or "", _code(said))
    assert check_password_hash(hash_in(config), _code(said)) and _code(said) not in config.read_text()
    allowed = [ip_network(word) for word in network.WALL.read_text().partition("IPAddressAllow=")[2].split()]
    inside = lambda text: any(ip_address(text) in net for net in allowed if net.version == ip_address(text).version)  # noqa: E731
    assert all(map(inside, ("10.42.0.9", "192.168.1.20", "172.20.10.2", "fe80::1"))) and not any(map(inside, ("198.51.100.7", "8.8.8.8",
                                                                                                              "2001:db8::1")))
    _pages(config, "close")
    table = load(config).dashboard
    assert not table.open_to_network and table.code_hash is None and not network.WALL.exists()


def test_opening_again_keeps_the_code_unless_another_is_wanted(config: Path) -> None:
    first = _code(_pages(config, "open"))
    assert "stays as it was" in _pages(config, "open", "--code-to-read")
    assert load(config).dashboard.code_to_read and check_password_hash(load(config).dashboard.code_hash or "", first)
    second = _code(_pages(config, "open", "--new-code"))
    assert second != first and not check_password_hash(load(config).dashboard.code_hash or "", first)


def test_a_configuration_that_opens_the_pages_without_a_code_is_refused(config: Path) -> None:
    config.write_text(TEXT + '[dashboard]\naddress = "0.0.0.0:21873"\n')
    with pytest.raises(ConfigError, match="ampledger pages open"):
        load(config)


def test_the_address_of_closed_pages_is_no_address(config: Path) -> None:
    done = CliRunner().invoke(commands, ["pages", "address", "-c", str(config)])
    assert done.exit_code == 1 and "ampledger pages open" in done.output
    _pages(config, "open")
    assert "http://10.42.0.1:21873/" in _pages(config, "address")


def test_codes_differ_and_are_ten_digits() -> None:
    made = {access_code.make_code() for _ in range(200)}
    assert len(made) == 200 and all(len(code.replace("-", "")) == 10 and code.replace("-", "").isdigit() for code in made)


def test_addresses_of_this_machine_are_told_private_first() -> None:
    found = network.find_addresses()
    assert not any(ip_address(one.address).is_loopback for one in found)
    assert [one.public for one in found] == sorted(one.public for one in found)
