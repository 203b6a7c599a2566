"""The options that several commands share: where the configuration and the log are."""
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

#: Looked for in this order where --config is not given.
USUAL = (Path("ampledger.toml"), Path("/etc/ampledger/ampledger.toml"))

config_option: Callable = click.option(
    "--config", "-c", "config_file", type=click.Path(path_type=Path), envvar="AMPLEDGER_CONFIG", show_envvar=True,
    help="Configuration file. Default: ampledger.toml here, else /etc/ampledger/ampledger.toml.")
database_option: Callable = click.option(
    "--database", "-d", type=click.Path(path_type=Path), help="The log itself, instead of the one that the configuration names.")


def load_config(config_file: Path | None, *, need_sources: bool = True) -> Any:
    """The configuration that a command is to use. Raises ConfigError."""
    from monitor.config import load

    if config_file is None:
        config_file = next((place for place in USUAL if place.exists()), USUAL[0])
    return load.load(config_file, need_sources=need_sources)


def locate_database(config_file: Path | None, database: Path | None) -> Path:
    """The log that a command is to read: the one named, else the configuration's. Raises ConfigError."""
    return database if database is not None else load_config(config_file, need_sources=False).log.database
