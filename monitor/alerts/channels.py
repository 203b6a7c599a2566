"""The ways an alert can leave: the journal, a command, a topic, and the services of a library."""
import json
import logging
import subprocess
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from drivers.extras import install_command
from monitor.alerts.rules import AlertChange

log = logging.getLogger("ampledger.alerts")
LEVELS = {"low": logging.INFO, "medium": logging.WARNING, "high": logging.ERROR}


class NotDelivered(Exception):
    """This time it did not work; the message says why. It will be tried again."""


class Channel(Protocol):
    """One way out."""

    name: str

    def send(self, change: AlertChange, timeout_s: float) -> None:
        """Deliver, or raise NotDelivered, within the time limit."""


def as_dict(change: AlertChange) -> dict[str, Any]:
    """An alert as plain data: what commands and topics get."""
    alert = change.alert
    return {
        "what": change.what, "id": alert.id, "kind": alert.kind, "battery": alert.battery, "priority": alert.priority,
        "state": alert.state, "seen": alert.seen, "means": alert.means, "look_first": alert.look_first,
        "clears_when": alert.clears_when, "raised_at_s": alert.raised_at_s, "figures": dict(alert.figures), "acknowledged_by": alert.acknowledged_by,
    }


def title(change: AlertChange) -> str:
    """A short first line."""
    alert = change.alert
    word = {"cleared": "Over: ", "worse": "Worse: "}.get(change.what, "")
    return f"{word}{alert.battery} battery: {alert.kind.replace('_', ' ')}" if alert.battery != "vehicle" else (
        f"{word}{alert.kind.replace('_', ' ')}")


def text(change: AlertChange) -> str:
    """The whole of it in plain sentences."""
    alert = change.alert
    parts = [alert.seen, alert.means, f"Look first: {alert.look_first}" if alert.look_first else "",
             f"Goes away when: {alert.clears_when}" if alert.clears_when else ""]
    return "\n".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Journal:
    """The daemon's own log: always there."""

    name: str = "journal"

    def send(self, change: AlertChange, timeout_s: float) -> None:
        log.log(LEVELS[change.alert.priority], "%s: %s", title(change), text(change).replace("\n", " "))


@dataclass(frozen=True, slots=True)
class Command:
    """A program of the owner's, given the alert as JSON on standard input."""

    arguments: tuple[str, ...]
    name: str = "command"

    def send(self, change: AlertChange, timeout_s: float) -> None:
        try:
            done = subprocess.run(self.arguments, input=json.dumps(as_dict(change)), text=True, timeout=timeout_s,
                                  capture_output=True, check=False)
        except subprocess.TimeoutExpired:
            raise NotDelivered(f"{self.arguments[0]} did not finish within {timeout_s:g} s") from None
        except OSError as error:
            raise NotDelivered(f"{self.arguments[0]}: {error.strerror}") from None
        if done.returncode:
            last = done.stderr.strip().splitlines()[-1:] or [""]
            raise NotDelivered(f"{self.arguments[0]} ended with {done.returncode}: {last[0][:200]}")


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

    def send(self, change: AlertChange, timeout_s: float) -> None:
        sent = self._box.notify(title=title(change), body=text(change), notify_type=self._kinds[change.alert.priority])
        if not sent:
            raise NotDelivered("a service did not take it; is there a network?")


class Topic:
    """A topic of an MQTT broker: the latest state of each alert, retained, and a last will that says the daemon is gone.

    Connects in a thread of its own at once, and again whenever the connection is lost.
    """

    name = "topic"
    keeps_state = True

    def __init__(self, host: str, port: int, topic: str, username: str | None, password_file: Path | None) -> None:
        try:
            import paho.mqtt.client as mqtt
        except ModuleNotFoundError:
            raise ValueError("[alerts] mqtt needs a package; run: " + install_command("mqtt")) from None
        self._topic, self._place, self._up = topic, f"{host}:{port}", threading.Event()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        self._client.will_set(f"{topic}/alive", "0", qos=1, retain=True)
        if username:
            try:
                secret = password_file.read_text().strip() if password_file else None
            except OSError as error:
                raise ValueError(f"[alerts] mqtt password_file {password_file}: {error.strerror}") from None
            self._client.username_pw_set(username, secret)
        self._refused = ""
        self._client.on_connect = self._connected
        self._client.on_disconnect = lambda *_: self._up.clear()
        self._client.connect_async(host, port, keepalive=60)
        self._client.loop_start()

    def send(self, change: AlertChange, timeout_s: float) -> None:
        if not self._up.wait(timeout_s):
            raise NotDelivered(f"{self._place}: {self._refused or f'no connection within {timeout_s:g} s'}")
        place = f"{self._topic}/{change.alert.battery}/{change.alert.kind}"
        try:
            sent = self._client.publish(place, json.dumps(as_dict(change)), qos=1, retain=True)
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

    def _connected(self, client: Any, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refused = f"the broker refused: {reason}"
            return
        client.publish(f"{self._topic}/alive", "1", qos=1, retain=True)
        self._up.set()
