"""The loop of `kilnctl notify`: asks the service once a second, puts what is new into each channel's outbox, and sends.

Each channel has a thread, so that a slow server delays no other. Waiting messages, and what was already sent, are kept
in a file, which survives a restart and a power cut.
"""

import contextlib
import json
import math
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

from ..errors import KilnctlError
from ..record.durable import write_whole
from ..settings.notification import Channel, Notify
from . import outbox, watch
from .broker import Broker
from .channels import NotSent, send, trusted
from .outbox import Message, Outbox

EVERY_S = 1.0
#: Longest time between two updates of the broker's retained state, s.
STATE_EVERY_S = 30.0
#: Time between two looks at what is not in the service's answer, s.
ASIDE_EVERY_S = 60.0

#: Asks the service; returns its answer, or None.
Ask = Callable[[], dict | None]
#: Notices that the service's answer does not hold, for an oven's name; each is sent once.
Aside = Callable[[str], list[watch.Notice]]


class _Line:
    """One channel: its outbox, and the thread that empties it."""

    def __init__(self, channel: Channel, most_an_hour: int, box: Outbox, tell: Callable[[str], None]):
        self.channel, self._most, self._box, self._tell = channel, most_an_hour, box, tell
        self._lock, self._woken, self._ending = threading.Lock(), threading.Event(), False
        self.broker: Broker | None = None
        self.version = 0
        if channel.by == "mqtt":
            self.broker = Broker(channel, trusted(channel) if channel.security == "tls" else None)
        self._thread = threading.Thread(target=self._work, name=f"notify {channel.name}", daemon=True)
        self._thread.start()

    @property
    def box(self) -> Outbox:
        with self._lock:
            return self._box

    def put(self, message: Message) -> None:
        with self._lock:
            self._box = outbox.put(self._box, message)
            self.version += 1
        self._woken.set()

    def end(self) -> None:
        self._ending = True
        self._woken.set()
        self._thread.join(2.0)
        if self.broker is not None:
            self.broker.close()

    def _work(self) -> None:
        while not self._ending:
            with self._lock:
                self._box, message = outbox.due(self._box, time.time(), self._most)
            if message is None:
                self._woken.wait(EVERY_S)
                self._woken.clear()
                continue
            self._try(message)

    def _try(self, message: Message) -> None:
        failure = ""
        try:
            send(self.channel, message, self.broker)
        except NotSent as error:
            failure = str(error)
        except Exception as error:
            # A fault in a library must not end the thread: the other messages must still be sent.
            failure = f"{type(error).__name__}: {error}"
        with self._lock:
            first = not self._box.last_error
            if failure:
                self._box = outbox.failed(self._box, time.time(), failure)
            else:
                self._box = outbox.sent(self._box, message, time.time())
            self.version += 1
            pause_s = self._box.next_s - time.time()
        if failure and first:
            self._tell(f"{self.channel.name}: not sent: {failure}; next try in {max(pause_s, 0.0):.0f} s")
        elif not failure:
            self._tell(f"{self.channel.name}: sent: {message.subject}")


class Postman:
    """`kept`: the file of what waits; `tell`: gets a line about each message sent or refused; `aside`: what else there
    is to report."""

    def __init__(
        self,
        file: Notify,
        kept: Path,
        tell: Callable[[str], None] = lambda words: None,
        aside: Aside | None = None,
    ):
        self._file, self._kept, self._tell, self._aside = file, kept, tell, aside
        self._aside_next_s = -math.inf
        self._watched, boxes = _read(kept, tell)
        self._lines = [_Line(c, file.most_an_hour, boxes.get(c.name, Outbox()), tell) for c in file.channels]
        self._saved: object = None
        self._state: tuple = ()
        self._state_s = -STATE_EVERY_S

    def round(self, status: dict | None) -> list[watch.Notice]:
        """Take one answer of the service (None: it did not answer). Returns the new notices."""
        self._watched, notices = watch.step(self._watched, status, time.monotonic(), self._file)
        for notice in notices:
            self.post(notice)
        self._remind(status)
        self._publish_state(status)
        self._save()
        return notices

    def _remind(self, status: dict | None) -> None:
        """Look for what is not in the service's answer at long intervals, and report each once."""
        now_s = time.monotonic()
        if self._aside is None or now_s < self._aside_next_s:
            return
        self._aside_next_s = now_s + ASIDE_EVERY_S
        fresh = [n for n in self._aside((status or {}).get("oven", "")) if n.key not in self._watched.told]
        for notice in fresh:
            self.post(notice)
        told = (*self._watched.told, *(n.key for n in fresh))[-watch.REMEMBERED :]
        self._watched = replace(self._watched, told=told)

    def post(self, notice: watch.Notice) -> None:
        """Put it into the outbox of each channel that sends this kind."""
        # For a trip: what to do and what was seen; for other notices: the first sentence.
        first = notice.words.split(". ")[: 3 if notice.kind == "trip" else 1]
        message = Message(
            notice.kind,
            f"{notice.oven or 'oven'}: {'. '.join(first).rstrip('.')}"[:150],
            notice.words,
            time.strftime("%Y-%m-%dT%H:%M:%S%z"),
            time.time(),
            notice.oven,
            notice.run,
            self._file.name,
            notice.chamber_c,
        )
        for line in self._lines:
            if notice.kind in line.channel.kinds:
                line.put(message)

    def waiting(self) -> dict[str, Outbox]:
        """Each channel's present outbox."""
        return {line.channel.name: line.box for line in self._lines}

    def run(self, ask: Ask, ending: threading.Event) -> None:
        """Run until `ending` is set."""
        while not ending.wait(EVERY_S):
            self.round(ask())

    def close(self) -> None:
        for line in self._lines:
            line.end()
        self._save()

    def _publish_state(self, status: dict | None) -> None:
        shown = tuple((status or {}).get(k) for k in ("state", "running", "danger", "door_open", "contactor", "step"))
        now_s = time.monotonic()
        if status is not None and (shown != self._state or now_s - self._state_s >= STATE_EVERY_S):
            self._state, self._state_s = shown, now_s
            for line in self._lines:
                if line.broker is not None:
                    line.broker.publish_state(status)

    def _save(self) -> None:
        now = (self._watched.told, self._watched.unload, tuple(line.version for line in self._lines))
        if now == self._saved:
            return
        kept = {
            "told": list(self._watched.told),
            "unload": self._watched.unload,
            "waiting": {line.channel.name: [asdict(m) for m in line.box.waiting] for line in self._lines},
        }
        try:
            self._kept.parent.mkdir(parents=True, exist_ok=True)
            write_whole(self._kept, json.dumps(kept, ensure_ascii=False).encode())
            self._saved = now
        except OSError as error:
            if self._saved != "refused":
                self._tell(f"what waits cannot be kept in {self._kept}: {error.strerror}; it is sent all the same")
            self._saved = "refused"


def _read(kept: Path, tell: Callable[[str], None]) -> tuple[watch.Watched, dict[str, Outbox]]:
    """Load what an earlier process left. A damaged file is moved aside and reported."""
    fresh = watch.Watched()
    try:
        said = json.loads(kept.read_text(encoding="utf-8"))
        told = tuple(str(k) for k in said["told"])[-watch.REMEMBERED :]
        boxes = {str(name): Outbox(tuple(Message(**m) for m in ms)) for name, ms in said["waiting"].items()}
        return replace(fresh, told=told, unload=str(said["unload"])), boxes
    except FileNotFoundError:
        return fresh, {}
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        with contextlib.suppress(OSError):
            kept.replace(kept.with_name(kept.name + ".damaged"))
        tell(f"{kept} was damaged ({type(error).__name__}) and was put aside; what waited there is lost")
        return fresh, {}


def try_all(file: Notify, patience_s: float = 30.0) -> dict[str, str]:
    """Send a trial message on each channel, one after the other: name → what went wrong, empty where it arrived."""
    said = {}
    for channel in file.channels:
        message = Message(
            "warning",
            "a trial message; nothing happened",
            "This is a trial of the way on which the oven's messages come. Nothing happened.",
            time.strftime("%Y-%m-%dT%H:%M:%S%z"),
            time.time(),
            place=file.name,
        )
        try:
            said[channel.name] = _trial(channel, message, patience_s)
        except (NotSent, KilnctlError) as error:
            said[channel.name] = str(error)
    return said


def _trial(channel: Channel, message: Message, patience_s: float) -> str:
    if channel.by != "mqtt":
        send(channel, message)
        return ""
    broker = Broker(channel, trusted(channel) if channel.security == "tls" else None)
    try:
        until = time.monotonic() + patience_s
        while not broker.connected() and time.monotonic() < until:
            time.sleep(0.05)
        send(channel, message, broker)
        return ""
    finally:
        broker.close()
