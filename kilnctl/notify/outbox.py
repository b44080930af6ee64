"""Messages that wait to be sent on one channel: bounded, retried with growing pauses, limited per hour. Pure."""

from dataclasses import dataclass, replace

from ..settings.notification import URGENT

#: Most messages that wait on one channel.
MOST_WAITING = 100
#: First pause after a failure, s; it doubles up to LONGEST_PAUSE_S.
FIRST_PAUSE_S, LONGEST_PAUSE_S = 5.0, 600.0
#: How long a message is tried, s: an urgent one, and any other.
URGENT_S, OTHER_S = 86400.0, 3600.0 * 6
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Message:
    """`wall`: when it happened, ISO 8601; `made_s` on the sender's clock of wall time, s."""

    kind: str
    subject: str
    words: str
    wall: str
    made_s: float
    oven: str = ""
    run: str = ""
    place: str = ""
    chamber_c: float | None = None

    @property
    def urgent(self) -> bool:
        return self.kind in URGENT

    def mapping(self) -> dict:
        """As JSON values, for web hooks, commands, brokers and the file of what waits."""
        return {
            "kind": self.kind,
            "urgent": self.urgent,
            "subject": self.subject,
            "words": self.words,
            "time": self.wall,
            "place": self.place,
            "oven": self.oven,
            "run": self.run,
            "chamber_c": self.chamber_c,
        }


@dataclass(frozen=True, slots=True)
class Outbox:
    """One channel's waiting messages, oldest first. `failures`: in a row; `next_s`: time of the next try; `sent_s`:
    when the last hour's messages were sent; `dropped`: how many were given up."""

    waiting: tuple[Message, ...] = ()
    failures: int = 0
    next_s: float = 0.0
    sent_s: tuple[float, ...] = ()
    dropped: int = 0
    last_error: str = ""


def put(box: Outbox, message: Message) -> Outbox:
    """The outbox with that message added. When full, the oldest message that is not urgent is given up, else the
    oldest."""
    waiting = [*box.waiting, message]
    dropped = box.dropped
    while len(waiting) > MOST_WAITING:
        out = next((i for i, m in enumerate(waiting) if not m.urgent), 0)
        del waiting[out]
        dropped += 1
    # An urgent message does not wait for the end of a pause after earlier failures.
    next_s = 0.0 if message.urgent and not any(m.urgent for m in box.waiting) else box.next_s
    return replace(box, waiting=tuple(waiting), dropped=dropped, next_s=next_s)


def due(box: Outbox, now_s: float, most_an_hour: int) -> tuple[Outbox, Message | None]:
    """The message to send now, or None. Expired messages are given up before; urgent ones go first and ignore the
    hourly limit. If more wait than the limit allows, one summary stands for all that are not urgent."""
    kept: tuple[Message, ...] = tuple(m for m in box.waiting if now_s - m.made_s < (URGENT_S if m.urgent else OTHER_S))
    box = replace(
        box,
        waiting=kept,
        dropped=box.dropped + len(box.waiting) - len(kept),
        sent_s=tuple(t for t in box.sent_s if 0.0 <= now_s - t < HOUR_S),
    )
    if not kept or now_s < box.next_s:
        return box, None
    urgent = next((m for m in kept if m.urgent), None)
    if urgent is not None:
        return box, urgent
    if len(box.sent_s) >= most_an_hour:
        return box, None
    room = most_an_hour - len(box.sent_s)
    if room == 1 and len(kept) > 1:
        return box, _folded(kept)
    return box, next(iter(kept))


def _folded(messages: tuple[Message, ...]) -> Message:
    last = messages[-1]
    words = "\n".join(f"{m.wall}  {m.subject}" for m in messages)
    return replace(last, subject=f"{len(messages)} messages; this hour's limit is reached", words=words)


def sent(box: Outbox, message: Message, now_s: float) -> Outbox:
    """After a success: the message leaves the outbox (a summary with all messages that it stands for)."""
    single = message in box.waiting
    waiting = tuple(m for m in box.waiting if (m != message if single else m.urgent))
    return replace(box, waiting=waiting, failures=0, next_s=0.0, sent_s=(*box.sent_s, now_s), last_error="")


def failed(box: Outbox, now_s: float, why: str) -> Outbox:
    """After a failure: a longer pause."""
    pause = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(box.failures, 10))
    return replace(box, failures=box.failures + 1, next_s=now_s + pause, last_error=why)
