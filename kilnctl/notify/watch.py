"""From one answer of the service to the next: what to report to a person who is not at the oven. Pure."""

import re
from dataclasses import dataclass, field, replace

from ..record.care import CareDue
from ..record.kept_aside import KeptAside
from ..safety.messages import lines
from ..settings.notification import Notify
from ..terms import Outcome, Phase, Taught
from .outbox import OTHER_S

#: A chamber so far below its reference is far behind: the larger of this, K, …
BEHIND_K = 10.0
#: … and this share of the reference's height above 20 °C. Common practice: a soak that starts later than this matters.
BEHIND_SHARE = 0.04
#: A danger that lasts is reported again after this, s.
AGAIN_S = 600.0
#: A first answer with a run older than this means that the run went on after a gap, s.
JUST_BEGUN_S = 60.0
#: How many sent notices are remembered.
REMEMBERED = 200
_NUMBERS = re.compile(r"[-±+]?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Notice:
    """One event to report. `key`: two notices with the same key are the same event; `chamber_c`: the reading then,
    °C."""

    kind: str
    words: str
    key: str
    oven: str = ""
    run: str = ""
    chamber_c: float | None = None


@dataclass(frozen=True, slots=True)
class Watched:
    """What was seen so far. `told`: keys of the notices already returned, oldest first. Times are s on the watcher's
    monotonic clock; `silent_s` is since when the service has not answered."""

    status: dict = field(default_factory=dict)
    told: tuple[str, ...] = ()
    silent_s: float | None = None
    missed: bool = False
    door_s: float | None = None
    behind_s: float | None = None
    danger_s: float | None = None
    unload: str = ""


def step(before: Watched, status: dict | None, now_s: float, file: Notify) -> tuple[Watched, list[Notice]]:
    """What is known after this answer (None: no answer), and the new notices."""
    if status is None:
        return _silent(before, now_s, file)
    found = [*_back(before, status), *_trips(status), *_ended(before, status)]
    after = replace(before, status=status, silent_s=None, missed=False)
    after, more = _danger(after, status, now_s)
    found += more
    after, more = _door(after, status, now_s, file.door_after_s)
    found += more
    after, more = _behind(after, status, now_s, file.behind_after_s)
    found += more
    found += _warnings(status)
    found += _lesson(before, status)
    after, more = _unload(after, before.status, status)
    found += more
    fresh: list[Notice] = []
    for notice in found:
        if notice.key not in after.told and notice.key not in [n.key for n in fresh]:
            fresh.append(notice)
    return replace(after, told=(*after.told, *(n.key for n in fresh))[-REMEMBERED:]), fresh


def _notice(status: dict, kind: str, words: str, key: str) -> Notice:
    return Notice(
        kind,
        words,
        f"{kind}|{key}|{status.get('folder') or status.get('started') or ''}",
        str(status.get("oven", "")),
        str(status.get("folder") or ""),
        status.get("chamber_c"),
    )


def _silent(before: Watched, now_s: float, file: Notify) -> tuple[Watched, list[Notice]]:
    since = now_s if before.silent_s is None else before.silent_s
    after = replace(before, silent_s=since, door_s=None, behind_s=None)
    if before.missed or now_s - since < file.silent_after_s:
        return after, []
    running = bool(before.status.get("running"))
    words = "The oven's service does not answer. " + (
        "A run was going on. The heat ends by itself when nothing permits it; go and look."
        if running
        else "Nothing was running when it last answered."
    )
    return replace(after, missed=True), [_notice(before.status, "silent", words, f"since {since:.0f}")]


def _back(before: Watched, status: dict) -> list[Notice]:
    """Notices after a silence or with the first answer: the run goes on, or it does not."""
    was, run_s = before.status, status.get("run_s") or 0.0
    if not (before.missed or not was):
        return []
    if status.get("running") and run_s > JUST_BEGUN_S:
        since = f"{run_s / 60.0:.0f} min after its start"
        words = f"The service answers again. '{status.get('schedule', '')}' goes on, {since}."
        return [_notice(status, "power back", words, f"goes on {run_s:.0f}")] if was else []
    if was.get("running"):
        words = f"The service answers again. '{was.get('schedule', '')}' does not go on; no heat is asked for."
        return [_notice(status, "power back", words, f"ended {was.get('folder', '')}")]
    if before.missed:
        return [_notice(status, "power back", "The service answers again; nothing runs.", f"idle {before.silent_s}")]
    return []


def _trips(status: dict) -> list[Notice]:
    found = []
    for trip in status.get("trips", []):
        words = " ".join(
            line for line in lines(*(str(trip.get(part, "")) for part in ("act", "seen", "check"))) if line
        )
        found.append(_notice(status, "trip", words, str(trip.get("fault", words))))
    return found


def _ended(before: Watched, status: dict) -> list[Notice]:
    if not before.status.get("running") or status.get("running") or before.missed:
        return []
    outcome, name = status.get("outcome", ""), before.status.get("schedule", "") or "the run"
    if outcome in (Outcome.FINISHED, Outcome.STOPPED, Outcome.INTERRUPTED):
        words = f"'{name}' ran to its end." if outcome == Outcome.FINISHED else f"'{name}' was stopped by a person."
        return [_notice(before.status, "done", words, "end")]
    if outcome == Outcome.LOST:
        return [
            _notice(
                before.status,
                "lost",
                f"'{name}' ended: the hardware was gone. Look at the oven; if in doubt, main switch off.",
                "end",
            )
        ]
    return []


def _danger(after: Watched, status: dict, now_s: float) -> tuple[Watched, list[Notice]]:
    danger = str(status.get("danger") or "")
    if not danger:
        return replace(after, danger_s=None), []
    if after.danger_s is not None and now_s - after.danger_s < AGAIN_S:
        return after, []
    return replace(after, danger_s=now_s), [_notice(status, "danger", f"{danger}.", f"{danger} {now_s:.0f}")]


def _door(after: Watched, status: dict, now_s: float, most_s: float) -> tuple[Watched, list[Notice]]:
    open_ = status.get("door_open") not in (False, None) and (status.get("running") or status.get("notice"))
    if not open_:
        return replace(after, door_s=None), []
    if after.door_s is None:
        return replace(after, door_s=now_s), []
    if now_s - after.door_s < most_s:
        return after, []
    words = f"The door has been open for {(now_s - after.door_s) / 60.0:.0f} min."
    return after, [_notice(status, "door", words, f"{after.door_s:.0f}")]


def _behind(after: Watched, status: dict, now_s: float, most_s: float) -> tuple[Watched, list[Notice]]:
    chamber, wanted = status.get("chamber_c"), status.get("reference_c")
    heating = status.get("state") in (Phase.RAMP, Phase.SOAK, Phase.HEAT_UP)
    below_k = 0.0 if chamber is None or wanted is None or not heating else wanted - chamber
    far = wanted is not None and below_k > max(BEHIND_K, BEHIND_SHARE * (wanted - 20.0))
    if not far:
        return replace(after, behind_s=None), []
    if after.behind_s is None:
        return replace(after, behind_s=now_s), []
    if now_s - after.behind_s < most_s:
        return after, []
    words = f"The chamber is {below_k:.0f} K behind its schedule, and has been for {most_s / 60.0:.0f} min."
    return after, [_notice(status, "cannot follow", words, f"step {status.get('step')}")]


def _warnings(status: dict) -> list[Notice]:
    if not status.get("running"):
        return []
    return [
        _notice(status, "warning", f"{str(w).rstrip('.')}.", _NUMBERS.sub("#", str(w)))
        for w in status.get("warnings", [])
    ]


def _lesson(before: Watched, status: dict) -> list[Notice]:
    """Whether the last run showed that the oven has changed; not what was so before this watch."""
    said = status.get("lesson") or {}
    if said.get("taught") != Taught.CHANGED or not before.status or before.status.get("lesson") == said:
        return []
    words = str(said.get("words", ""))
    return [_notice(status, "oven changed", f"{words[:1].upper()}{words[1:]}.", str(said.get("run", "")))]


def _unload(after: Watched, was: dict, status: dict) -> tuple[Watched, list[Notice]]:
    """Notice that the oven has cooled after a finished run."""
    if was.get("running") and not status.get("running") and status.get("outcome") == Outcome.FINISHED:
        after = replace(after, unload=str(was.get("schedule") or "the run"))
    if status.get("running"):
        after = replace(after, unload="")
    if after.unload and not status.get("notice") and not status.get("trips"):
        words = f"'{after.unload}' is over and the chamber is cool enough to unload."
        return replace(after, unload=""), [_notice(status, "part ready", words, "cool")]
    return after, []


def learning(oven: str, notes: tuple[KeptAside, ...], wall_s: float) -> list[Notice]:
    """One notice for each run from which nothing was learned; older notes than a message is tried for are left out.
    `wall_s`: now, s since 1970."""
    return [
        Notice(
            "learning",
            f"Nothing was learned from {n.run}: {n.why.rstrip('.')}. The oven is controlled with the model as it was.",
            f"learning|{n.run}|{n.at_s:.0f}",
            oven,
            n.run,
        )
        for n in notes
        if wall_s - n.at_s < OTHER_S
    ]


def reminders(oven: str, due: tuple[CareDue, ...]) -> list[Notice]:
    """One notice for each test of SAFETY.md that is due, the same until it has been done again."""
    return [
        Notice(
            "due", f"Due: {d.test.name}. {d.test.what}.", f"due|{d.test.name}|{d.last.day if d.last else 'never'}", oven
        )
        for d in due
        if d.now
    ]
