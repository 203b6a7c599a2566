"""The ways an alert can leave: the journal, a command, a topic, and the services of a library."""
import json
import logging
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from drivers.extras import install_command
from monitor.alerts.rules import AlertChange
from monitor.alerts.run_command import TooLong, run_bounded

if TYPE_CHECKING:
    from monitor.config.tables import MqttTable

log = logging.getLogger("ampledger.alerts")
LEVELS = {"low": logging.INFO, "medium": logging.WARNING, "high": logging.ERROR}


class NotDelivered(Exception):
    """This time it did not work; the message says why. It will be tried again."""


class Channel(Protocol):
    """One way out."""

    @property
    def name(self) -> str:
        """What it is called in messages; each way its own."""

    def send(self, change: AlertChange, timeout_s: float) -> None:
        """Deliver, or raise NotDelivered, within the time limit."""


def as_dict(change: AlertChange) -> dict[str, Any]:
    """An alert as plain data: what commands and topics get."""
    alert = change.alert
    return {
        "what": change.what, "id": alert.id, "kind": alert.kind, "battery": alert.battery, "priority": alert.priority,
        "state": alert.state, "seen": alert.seen, "means": alert.means, "look_first": alert.look_first,
        "clears_when": alert.clears_when, "evidence": alert.evidence, "count": alert.count, "raised_at_s": alert.raised_at_s,
        "figures": dict(alert.figures),
        "acknowledged_by": alert.acknowledged_by,
    }


def title(change: AlertChange) -> str:
    """The first line, a whole sentence that says enough by itself on a lock screen."""
    return {"cleared": "Cleared: ", "worse": "Worse now: "}.get(change.what, "") + change.alert.seen


def text(change: AlertChange) -> str:
    """What it means, what to do and what was seen, in plain sentences."""
    alert = change.alert
    parts = [alert.means, f"Check first: {alert.look_first}" if alert.look_first else "", alert.evidence, alert.clears_when]
    return "\n".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Journal:
    """The daemon's own log: always there."""

    name: str = "journal"

    def send(self, change: AlertChange, timeout_s: float) -> None:  # noqa: ARG002 - a line in the log takes no time
        log.log(LEVELS[change.alert.priority], "%s %s", title(change), text(change).replace("\n", " "))


@dataclass(frozen=True, slots=True)
class Command:
    """A program of the owner's, given the alert as JSON on standard input."""

    arguments: tuple[str, ...]
    name: str = "command"

    def send(self, change: AlertChange, timeout_s: float) -> None:
        self.hand(as_dict(change), timeout_s)

    def hand(self, values: dict[str, Any], timeout_s: float) -> None:
        """Gives it any plain data as JSON; raises NotDelivered."""
        try:
            code, complained = run_bounded(self.arguments, json.dumps(values), timeout_s)
        except TooLong:
            raise NotDelivered(f"{self.arguments[0]} did not finish within {timeout_s:g} s") from None
        except OSError as error:
            raise NotDelivered(f"{self.arguments[0]}: {error.strerror}") from None
        if code:
            raise NotDelivered(f"{self.arguments[0]} ended with {code}: {complained[:200]}")


class Services:
    """The Apprise library: one address for each service."""

    name = "services"

    def __init__(self, addresses: tuple[str, ...]) -> None:
        try:
            import apprise
        except ModuleNotFoundError:
            raise ValueError("[alerts] apprise needs a package; run: " + install_command("notify")) from None
        self._box = apprise.Apprise()
        self._kinds = {"low": apprise.NotifyType.INFO, "medium": apprise.NotifyType.WARNING,
                       "high": apprise.NotifyType.FAILURE}
        for number, address in enumerate(addresses, 1):
            if not self._box.add(address):
                # the address may hold a password, so it is not repeated
                raise ValueError(f"[alerts] apprise address number {number} is not one the library understands")

    def send(self, change: AlertChange, timeout_s: float) -> None:  # noqa: ARG002 - the library has limits of its own
        sent = self._box.notify(title=title(change), body=text(change), notify_type=self._kinds[change.alert.priority])
        if not sent:
            raise NotDelivered("a service did not take it; is there a network?")


class Topic:
    """A topic of an MQTT broker: the latest state of each alert, retained, and a last will that says the daemon is gone.

    Connects in a thread of its own at once, and again whenever the connection is lost.
    """

    name = "topic"
    keeps_state = True

    def __init__(self, broker: "MqttTable") -> None:
        try:
            import paho.mqtt.client as mqtt
            from paho.mqtt.enums import CallbackAPIVersion
        except ModuleNotFoundError:
            raise ValueError("[alerts] mqtt needs a package; run: " + install_command("mqtt")) from None
        port = broker.port or (8883 if broker.tls else 1883)
        self.with_state = broker.state
        self._topic, self._place, self._up = broker.topic, f"{broker.host}:{port}", threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.will_set(f"{broker.topic}/alive", "0", qos=1, retain=True)
        if broker.username:
            try:
                secret = broker.password_file.read_text().strip() if broker.password_file else None
            except OSError as error:
                raise ValueError(f"[alerts] mqtt password_file {broker.password_file}: {error.strerror}") from None
            self._client.username_pw_set(broker.username, secret)
        if broker.tls:
            self._secure(broker)
        self._refused = ""
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = lambda *_: self._up.clear()
        self._client.connect_async(broker.host, port, keepalive=60)
        self._client.loop_start()

    def send(self, change: AlertChange, timeout_s: float) -> None:
        if not self._up.wait(timeout_s):
            raise NotDelivered(f"{self._place}: {self._refused or f'no connection within {timeout_s:g} s'}")
        self._publish(f"{change.alert.battery}/{change.alert.kind}", as_dict(change), timeout_s)

    def hand(self, values: dict[str, Any], timeout_s: float, place: str = "heartbeat") -> None:
        """Publishes a sign of life at TOPIC/heartbeat, or something else under another place, retained; raises NotDelivered.

        values: what is published, as JSON; timeout_s: how long it may take [s]; place: below the topic.
        """
        if not self._up.wait(timeout_s):
            raise NotDelivered(f"{self._place}: {self._refused or f'no connection within {timeout_s:g} s'}")
        self._publish(place, values, timeout_s)

    def _secure(self, broker: "MqttTable") -> None:
        """TLS 1.2 or later, the broker's certificate and name checked against ca_file, or what this system trusts."""
        import ssl

        try:
            context = ssl.create_default_context(cafile=None if broker.ca_file is None else str(broker.ca_file))
            context.minimum_version = ssl.TLSVersion.TLSv1_2
            if broker.certificate_file is not None:
                context.load_cert_chain(broker.certificate_file, broker.key_file, password=lambda: b"")
        except (OSError, ssl.SSLError) as error:
            files = ", ".join(str(f) for f in (broker.ca_file, broker.certificate_file, broker.key_file) if f)
            raise ValueError(f"[alerts] mqtt: {files} cannot be used for TLS: {error.strerror or error}") from None
        self._client.tls_set_context(context)

    def _publish(self, place: str, values: dict[str, Any], timeout_s: float) -> None:
        try:
            sent = self._client.publish(f"{self._topic}/{place}", json.dumps(values), qos=1, retain=True)
            sent.wait_for_publish(timeout_s)
        except (RuntimeError, ValueError) as error:
            raise NotDelivered(f"{self._place}: {error}") from None
        if not sent.is_published():
            raise NotDelivered(f"{self._place}: not confirmed within {timeout_s:g} s")

    def close(self) -> None:
        """Say goodbye, so that the last will is not needed."""
        if self._up.is_set():
            self._client.publish(f"{self._topic}/alive", "0", qos=1, retain=True).wait_for_publish(2)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refused = f"the broker refused: {reason}"
            return
        client.publish(f"{self._topic}/alive", "1", qos=1, retain=True)
        self._up.set()


class StateTopic:
    """The whole state on a topic, at TOPIC/state: what the latest minute says, for whoever comes later too."""

    name = "state"

    def __init__(self, topic: Topic) -> None:
        self._topic = topic

    def hand(self, values: dict[str, Any], timeout_s: float) -> None:
        """Publishes it, retained; raises NotDelivered."""
        self._topic.hand(values, timeout_s, "state")
