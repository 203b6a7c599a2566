"""Numbers that others publish under MQTT topics; the only file that knows paho-mqtt."""
import json
import select
import struct
import time
from pathlib import Path
from typing import Annotated, Any, NoReturn

import paho.mqtt.client as paho
from paho.mqtt import MQTTException
from paho.mqtt.enums import CallbackAPIVersion
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from drivers.channels import Options, Quantity
from drivers.errors import ReadFailed, opening
from drivers.reading import Fault, Reading

#: Words for a switch, in the lower case.
WORDS = {"on": 1.0, "true": 1.0, "off": 0.0, "false": 0.0}
LONGEST_BATCH = 2000
#: What the library raises: a lost line, a packet that is none.
LIBRARY = (OSError, ValueError, struct.error, MQTTException)


class Topic(BaseModel):
    """A topic, and where in its message the number stands.

    Without `field` the message is the number itself (or on, off, true, false for a switch); with it the message
    is a JSON object and `field` the name in it, with dots for names further inside: "battery.volts".
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    topic: str = Field(min_length=1, pattern=r"^[^#+]+$", description="one topic, without wildcards")
    field: str | None = Field(None, min_length=1)
    scale: float = Field(1.0, description="factor; -1 turns the sign round")
    offset: float = Field(0.0, description="added last, in the quantity's unit")


Topics = Annotated[
    dict[Quantity, Annotated[Topic, BeforeValidator(lambda v: {"topic": v} if isinstance(v, str) else v)]],
    Field(min_length=1, description='a table [source.measures] with lines such as house_voltage_v = "van/house/volts"'),
]


class MqttOptions(Options):
    """Which broker, and which topics."""

    host: str = Field("127.0.0.1", min_length=1)
    tcp_port: int = Field(1883, ge=1, le=65535)
    username: str | None = None
    password_file: Path | None = Field(None, description="a file that holds the password and nothing else")
    tls: bool = Field(False, description="encrypted, checked against the system's certificates")
    max_age_s: float = Field(15.0, gt=0, le=600, description="how long a message may be used after it came")
    timeout_s: float = Field(0.8, gt=0, le=5, description="a reading takes no longer than this")
    measures: Topics

    @model_validator(mode="after")
    def _who(self) -> "MqttOptions":
        if self.password_file is not None and self.username is None:
            raise ValueError("password_file needs a username beside it")
        return self


class MqttDriver:
    """Subscribes to topics at a broker (MQTT 3.1.1); publishes nothing.

    A message is used until it is `max_age_s` old. Retained messages are passed over: nobody can tell how old
    they are. The newest message counts, also when it is nonsense.
    """

    Options = MqttOptions

    def __init__(self, options: MqttOptions) -> None:
        self._options = options
        self._client: paho.Client | None = None
        self._heard: dict[str, tuple[float, bytes | bytearray]] = {}  # topic -> when it came, message
        self._new = True
        with opening():
            self._connect(_now_s() + options.timeout_s)

    def read(self) -> Reading:
        end_s = _now_s() + self._options.timeout_s
        client = self._connect(end_s) if self._client is None else self._client
        self._take(client, 0.0)
        # the first reading waits for all of them, later ones only where there is nothing to give
        while (missing := self._missing()) and (self._new or missing == self._topics()) and _now_s() < end_s:
            self._take(client, end_s - _now_s())
        self._new = False
        values: dict[str, float] = {}
        faults: list[Fault] = []
        for quantity, spec in self._options.measures.items():
            try:
                values[quantity] = self._number(spec) * spec.scale + spec.offset
            except ReadFailed as error:
                faults.append(Fault(quantity, str(error)))
        if not values:
            raise ReadFailed("; ".join(dict.fromkeys(fault.reason for fault in faults)))
        return Reading(values, tuple(faults))

    def close(self) -> None:
        client, self._client = self._client, None
        self._heard.clear()
        if client is not None:
            client.disconnect()  # says goodbye on the spot where the line is free
            _shut(client)

    def _topics(self) -> set[str]:
        return {spec.topic for spec in self._options.measures.values()}

    def _missing(self) -> set[str]:
        oldest_s = _now_s() - self._options.max_age_s
        return {t for t in self._topics() if t not in self._heard or self._heard[t][0] < oldest_s}

    def _connect(self, end_s: float) -> paho.Client:
        o = self._options
        client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311, clean_session=True)
        client.connect_timeout = o.timeout_s
        if o.username is not None:
            client.username_pw_set(o.username, _password(o.password_file))
        if o.tls:
            client.tls_set()
        said: list[Any] = []
        client.on_connect = lambda _client, _data, _flags, reason, _properties: said.append(reason)
        client.on_subscribe = lambda _client, _data, _id, reasons, _properties: said.extend(reasons)
        client.on_message = self._message
        self._heard.clear()
        try:
            client.connect(o.host, o.tcp_port, keepalive=120)
            _wait(client, said, 1, end_s)
            if not said or said[0].is_failure:
                raise ReadFailed(f"{self._where()}: " + (f"the broker refused: {said[0]}" if said else "the broker is silent"))
            client.subscribe([(topic, 0) for topic in sorted(self._topics())])
            _wait(client, said, 1 + len(self._topics()), end_s)
            if len(said) <= len(self._topics()) or any(reason.is_failure for reason in said[1:]):
                raise ReadFailed(f"{self._where()}: the broker did not let us subscribe to {', '.join(sorted(self._topics()))}")
        except LIBRARY as error:
            _shut(client)
            raise ReadFailed(f"{self._where()}: {getattr(error, 'strerror', None) or error}; is the broker running?") from error
        except ReadFailed:
            _shut(client)
            raise
        self._client, self._new = client, True
        return client

    def _take(self, client: paho.Client, wait_s: float) -> None:
        """Take in what the broker sent; wait for it at most wait_s."""
        try:
            for _ in range(LONGEST_BATCH):
                if not _step(client, wait_s):
                    break
                wait_s = 0.0
        except LIBRARY as error:
            self._give_up(client, str(error))
        if client.socket() is None:
            self._give_up(client, "the broker is gone")

    def _give_up(self, client: paho.Client, why: str) -> NoReturn:
        self._client = None
        self._heard.clear()
        _shut(client)
        raise ReadFailed(f"{self._where()}: {why}")

    def _message(self, _client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        if not message.retain:
            self._heard[message.topic] = (_now_s(), message.payload)

    def _number(self, spec: Topic) -> float:
        came_s, payload = self._heard.get(spec.topic, (float("-inf"), b""))
        age_s = _now_s() - came_s
        if age_s > self._options.max_age_s:
            raise ReadFailed(f"{self._where()}, {spec.topic}: no message" + (f" for {age_s:.0f} s" if age_s < 1e9 else " yet"))
        try:
            value: Any = payload.decode("utf-8").strip()
            if spec.field is not None:
                value = json.loads(value)
                for name in spec.field.split("."):
                    value = value[name]
            number = WORDS[value.lower()] if isinstance(value, str) and value.lower() in WORDS else float(value)
        except (ValueError, KeyError, TypeError, IndexError, RecursionError):
            number = float("nan")
        if number - number != 0.0:
            where = f"field {spec.field} of " if spec.field else ""
            raise ReadFailed(f"{self._where()}, {spec.topic}: no number in {where}{payload[:60]!r}")
        return number

    def _where(self) -> str:
        return f"{self._options.host}:{self._options.tcp_port}"


def _step(client: paho.Client, wait_s: float) -> bool:
    """One packet in, what waits out; whether there was a packet."""
    sock = client.socket()
    if sock is None:
        return False
    waiting = getattr(sock, "pending", lambda: 0)()
    ready = waiting or select.select([sock], [], [], max(0.0, wait_s))[0]
    if ready:
        client.loop_read()
    if client.want_write():
        client.loop_write()
    client.loop_misc()
    return bool(ready)


def _wait(client: paho.Client, said: list[Any], count: int, end_s: float) -> None:
    """Until the broker has answered that often, or no time is left."""
    while len(said) < count and client.socket() is not None and _now_s() < end_s:
        _step(client, end_s - _now_s())


def _shut(client: paho.Client) -> None:
    """Close the socket at once; a client that was left alone would keep it until it is collected."""
    sock = client.socket()
    if sock is not None:
        sock.close()


def _password(file: Path | None) -> str | None:
    if file is None:
        return None
    try:
        return file.read_text(encoding="utf-8").strip()
    except OSError as error:
        raise ReadFailed(f"{file}: {error.strerror or error}") from error


def _now_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)
