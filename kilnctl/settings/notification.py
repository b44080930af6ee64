"""Who is told what, and how: the file of `kilnctl notify`. Secrets never stand in it: it names a file or a variable."""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import KilnctlError
from .document import parse_document, read_text
from .fields import choice, integer, many, quantity, text
from .yaml_reader import read_root

#: What can be told, with what it means. The order is that of their weight.
KINDS = {
    "danger": "heat cannot be cut, or something as bad",
    "trip": "a safety rule ended the heat",
    "silent": "the oven's service does not answer",
    "power back": "the service answers again, and what became of its run",
    "lost": "a run ended because its hardware was gone",
    "door": "the door stands open while it is hot or heating",
    "cannot follow": "the chamber stays far behind its schedule",
    "warning": "any other warning of a run",
    "done": "a schedule ran to its end, or a person stopped it",
    "oven changed": "a run shows that the oven is not what its model says, and the model followed",
    "part ready": "the chamber is cool enough to unload",
    "learning": "nothing was learned from a run, and why: the model stays as it was",
    "due": "a test of SAFETY.md is due",
}
#: Kinds that are tried for a day, are never dropped for others, and pass the hourly limit.
URGENT = ("danger", "trip", "silent", "power back", "lost")
_WAYS = ("mail", "web hook", "mqtt", "command")
_NEEDED = {
    "mail": ("server", "sender", "to"),
    "web hook": ("address",),
    "mqtt": ("server", "topic"),
    "command": ("command",),
}
_PORTS = {
    ("mail", "none"): 25,
    ("mail", "starttls"): 587,
    ("mail", "tls"): 465,
    ("mqtt", "none"): 1883,
    ("mqtt", "tls"): 8883,
}


@dataclass(frozen=True, kw_only=True)
class Channel:
    """One way to reach somebody. `by` says which of the other keys it needs."""

    name: str = text("what to call it in messages about it", longest=60)
    by: str = choice(_WAYS, "how the message goes")
    tells: str = text(
        f"kinds of messages, with commas between: {', '.join(KINDS)}; 'all' for every one", default="all", longest=200
    )
    server: str = text("mail, mqtt: host name of the server", default="", longest=253)
    port: int | None = integer("mail, mqtt: port (usually by 'security')", low=1, high=65535, default=None)
    security: str = choice(("tls", "starttls", "none"), "mail, mqtt: encryption of the connection", default="tls")
    authority: str = text("file with the certificates to trust, where the system's do not do", default="", longest=400)
    user: str = text("mail, mqtt: user name at the server", default="", longest=200)
    secret_file: str = text("file whose first line is the password, or the web hook's signing key", default="")
    secret_variable: str = text("environment variable that holds it instead", default="", longest=100)
    sender: str = text("mail: address that the message comes from", default="", longest=254, key="from")
    to: str = text("mail: addresses, with commas between", default="", longest=1000)
    address: str = text("web hook: where the JSON is posted (http:// or https://)", default="", longest=1000)
    topic: str = text("mqtt: topic below which state, online and event are published", default="", longest=200)
    command: str = text("command: program and arguments; the message comes as JSON on its input", default="")

    def problems(self) -> Iterator[tuple[str, str]]:
        for name in _NEEDED[self.by]:
            if not getattr(self, name):
                yield name, f"a channel by {self.by} needs this"
        unknown = [k for k in self.kinds if k not in KINDS]
        if unknown:
            yield "tells", f"'{unknown[0]}' is none of: {', '.join(KINDS)}"
        if not self.kinds:
            yield "tells", "names nothing to tell"
        if self.secret_file and self.secret_variable:
            yield "secret_file", "give the secret by a file or by a variable, not by both"
        if self.user and not (self.secret_file or self.secret_variable):
            yield "user", "a user needs 'secret file' or 'secret variable' for the password"
        if self.by == "mqtt" and self.security == "starttls":
            yield "security", "mqtt knows 'tls' and 'none'"
        if self.by == "mqtt" and re.search(r"[#+\x00]|^/|/$|^\$", self.topic):
            yield "topic", "a topic to publish to has no # or +, and no / at its ends"
        if self.by == "web hook" and not re.match(r"https?://[^\s/]+", self.address):
            yield "address", "should begin with http:// or https:// and name a host"
        if self.user and self.security == "none" and self.by in ("mail", "mqtt") and not _local(self.server):
            yield "security", "the password would cross the network in clear text; use tls or starttls"

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of messages that go this way."""
        asked = tuple(k.strip() for k in self.tells.split(",") if k.strip())
        return tuple(KINDS) if asked == ("all",) else asked

    @property
    def at_port(self) -> int:
        return self.port if self.port is not None else _PORTS.get((self.by, self.security), 0)

    def secret(self) -> str:
        """The password or signing key, read now; empty where none is named. Raises KilnctlError where it cannot be."""
        if self.secret_variable:
            if not os.environ.get(self.secret_variable):
                raise KilnctlError(f"{self.name}: the environment has no {self.secret_variable} (secret variable)")
            return os.environ[self.secret_variable]
        if not self.secret_file:
            return ""
        try:
            with open(self.secret_file, encoding="utf-8") as file:
                line = file.readline(4096).rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            raise KilnctlError(f"{self.name}: the secret in {self.secret_file} cannot be read: {error}") from None
        if not line:
            raise KilnctlError(f"{self.name}: the first line of {self.secret_file} is empty")
        return line


def _local(server: str) -> bool:
    return server in ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True, kw_only=True)
class Notify:
    """A whole file. Its first key is `notify:`, a name for the place, which stands in each message."""

    name: str = text("the place, as it stands in each message", key="notify", longest=80)
    door_after_s: float = quantity(
        "time", "how long the door may stand open before that is told", default=120.0, low=5.0, high=86400.0
    )
    behind_after_s: float = quantity(
        "time", "how long the chamber may be far behind its schedule", default=600.0, low=30.0, high=86400.0
    )
    silent_after_s: float = quantity("time", "how long the service may be silent", default=30.0, low=5.0, high=3600.0)
    most_an_hour: int = integer(
        "most messages an hour on one channel; trips and dangers pass it", low=1, high=1000, default=20
    )
    channels: tuple[Channel, ...] = many(Channel, "the ways to reach people", fewest=1, most=20)
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)
    file: str = ""

    def problems(self) -> Iterator[tuple[str, str]]:
        names = [c.name for c in self.channels]
        if len(set(names)) != len(names):
            yield "channels", "two channels have the same name"


def load_notify(path: str | Path) -> Notify:
    """Read such a file. Raises SettingsError with file:line:column."""
    words, _ = read_text(path)
    return read_root(Notify, parse_document(words, str(path)), str(path), {"file": str(path)})
