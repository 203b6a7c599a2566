"""The collector's settings: one TOML file, or the database's address alone."""
import tomllib
from pathlib import Path

from pydantic import Field, ValidationError, model_validator

from monitor.config.faults import ConfigError, ConfigFault, faults_of
from monitor.config.tables import AlertsTable, Table


class SiteTable(Table):
    """Where the fleet's pages are, and who is believed."""

    address: str = Field("127.0.0.1:21874", pattern=r"^[^\s]+:\d{1,5}$", description="address and port to listen on")
    names: list[str] = Field(default_factory=list, description="names that browsers and boards call the server by")
    certificate_file: Path | None = Field(None, description="certificate with its chain (PEM); then by https only")
    key_file: Path | None = Field(None, description="its private key (PEM)")
    identity_header: str | None = Field(None, min_length=1, description="header in which a reverse proxy says who asks")
    proxy: str | None = Field(None, description="the proxy's address in numbers; nobody else is believed")
    digest_at: str | None = Field(None, pattern=r"^([01]\d|2[0-3]):[0-5]\d$", description="when the daily digest goes out, as 07:00")

    @model_validator(mode="after")
    def _together(self) -> "SiteTable":
        if (self.identity_header is None) != (self.proxy is None):
            raise ValueError("identity_header and proxy belong together: a header is believed from one address only")
        if (self.certificate_file is None) != (self.key_file is None):
            raise ValueError("certificate_file and key_file belong together; give both or none")
        return self


class FleetFile(Table):
    """The settings of a collector."""

    database: str = Field(min_length=1, description="postgresql://user@host/name; sqlite:///file to try it")
    site: SiteTable = Field(SiteTable(), description="where the pages are")
    alerts: AlertsTable = Field(AlertsTable(), description="how the fleet's alerts and the digest reach a person, as on a board")


def read_settings(path: Path) -> FleetFile:
    """The settings in a file. Raises ConfigError with every fault found."""
    try:
        return FleetFile.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        raise ConfigError(path, [ConfigFault("", "", None, "there is no such file",
                                             "name another with --settings, or give --collection")]) from None
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ConfigError(path, [ConfigFault("", "", None, f"it cannot be read: {error}", "mend that")]) from None
    except ValidationError as error:
        raise ConfigError(path, faults_of(error, FleetFile)) from None
