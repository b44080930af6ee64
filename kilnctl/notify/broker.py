"""The connection to a message broker (MQTT 3.1.1, extra `mqtt`), kept open: its last will reports when this process has
ended.

Below the channel's topic: `state` (retained JSON, what the service answers in short), `online` (retained: "online", and
"offline" by the last will), `event` (each message, not retained, at least once).
"""

import json

from ..errors import KilnctlError
from ..settings.notification import Channel

#: What of the service's answer goes into `state`.
STATE_KEYS = (
    "oven", "state", "running", "outcome", "reason", "danger", "notice", "chamber_c", "limit_c", "part_c",
    "reference_c", "duty", "demand_w", "contactor", "door_open", "run_s", "left_s", "energy_j", "schedule", "step",
)  # fmt: skip


_LOOK_AT = "check server, port and security, and this computer's network"


class Broker:
    """An open connection, which reconnects by itself. Raises KilnctlError if the extra is missing or the secret cannot
    be read."""

    def __init__(self, channel: Channel, tls=None):
        try:
            from paho.mqtt import client as mqtt  # noqa: PLC0415 - of the extra, which need not be there
            from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415 - of the extra
        except ImportError:
            raise KilnctlError("a channel by mqtt needs the extra 'mqtt': pip install 'kilnctl[mqtt]'") from None
        self._topic, self._at = channel.topic, f"{channel.server}:{channel.at_port}"
        #: Why the broker refuses the connection; empty while it does not.
        self.refused = ""
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        # The outbox keeps what cannot be sent now; nothing is queued here too.
        self._client.max_queued_messages_set(100)
        self._client.reconnect_delay_set(1, 60)
        self._client.will_set(f"{channel.topic}/online", "offline", qos=1, retain=True)
        if channel.user:
            self._client.username_pw_set(channel.user, channel.secret())
        if tls is not None:
            self._client.tls_set_context(tls)
        self._client.on_connect = self._connected
        self._client.connect_async(channel.server, channel.at_port, keepalive=30)
        self._client.loop_start()

    def _connected(self, client, _data, _flags, reason, _properties) -> None:
        self.refused = str(reason) if reason.is_failure else ""
        if not reason.is_failure:
            client.publish(f"{self._topic}/online", "online", qos=1, retain=True)

    def publish_event(self, event: dict, patience_s: float) -> None:
        """Publish, and wait until the broker has it. Raises KilnctlError if it has not within that time, s."""
        if not self._client.is_connected():
            raise KilnctlError(f"no connection to the broker at {self._at}: {self.refused or _LOOK_AT}")
        said = self._client.publish(f"{self._topic}/event", json.dumps(event, ensure_ascii=False), qos=1)
        try:
            said.wait_for_publish(patience_s)
        except (RuntimeError, ValueError) as error:
            raise KilnctlError(f"the broker did not take it: {error}") from None
        if not said.is_published():
            raise KilnctlError(f"the broker did not confirm it within {patience_s:.0f} s")

    def publish_state(self, status: dict) -> None:
        """Publish the newest state, retained; without a connection it is dropped."""
        if self._client.is_connected():
            state = {key: status.get(key) for key in STATE_KEYS}
            self._client.publish(f"{self._topic}/state", json.dumps(state, ensure_ascii=False), qos=0, retain=True)

    def connected(self) -> bool:
        return self._client.is_connected()

    def close(self) -> None:
        """Publish "offline", then end: a broker publishes the last will only after a broken connection."""
        if self._client.is_connected():
            self._client.publish(f"{self._topic}/online", "offline", qos=1, retain=True).wait_for_publish(2.0)
        self._client.disconnect()
        self._client.loop_stop()
