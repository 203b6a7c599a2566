"""The options that several commands share."""
from pathlib import Path

import click

DEFAULT = Path("ampledger.toml")

config_option = click.option("--config", "config_file", default=DEFAULT, show_default=True,
                             type=click.Path(path_type=Path), help="The configuration file.")
database_option = click.option("--database", type=click.Path(path_type=Path),
                               help="The log itself, where it is not the one of the configuration.")


def loaded(config_file: Path):
    """The configuration, or one sentence for each fault."""
    from monitor import config
    from monitor.cli import Refused

    try:
        return config.load(config_file)
    except config.ConfigError as error:
        raise Refused(str(error)) from None


def database_of(config_file: Path, database: Path | None) -> Path:
    """Where the log lies: as named, or as configured."""
    return database if database is not None else loaded(config_file).log.database
