"""What was shown before a start: schedule, oven, limits and model together have one fingerprint. A start carries the
fingerprint of what the person has seen, and any difference by then is reported."""

import difflib
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from ..safety import changed_limits, policy_for
from ..settings.oven import Oven

#: Most views remembered, and most lines of a difference.
MOST_SEEN, MOST_LINES = 60, 40


@dataclass(frozen=True)
class Shown:
    """`schedule`: its text; `oven`, `model`: sha256 of their files; `limits` as in the state file."""

    schedule: str
    oven: str
    limits: str
    model: str

    @property
    def fingerprint(self) -> str:
        parts = [self.schedule, self.oven, self.limits, self.model]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def shown_of(schedule: str, oven: Oven, model_file: str | None) -> Shown:
    """What the page would show with that schedule's text now."""
    limits = json.dumps(changed_limits.to_mapping(policy_for(oven)), sort_keys=True)
    try:
        model = hashlib.sha256(Path(model_file).read_bytes()).hexdigest() if model_file else ""
    except OSError:
        model = ""
    return Shown(schedule.replace("\r\n", "\n"), oven.sha256, limits, model)


class LastShown:
    """The last things shown, by their fingerprints."""

    def __init__(self) -> None:
        self._shown: dict[str, Shown] = {}

    def note(self, shown: Shown) -> str:
        mark = shown.fingerprint
        self._shown.pop(mark, None)
        self._shown[mark] = shown
        while len(self._shown) > MOST_SEEN:
            self._shown.pop(next(iter(self._shown)))
        return mark

    def difference(self, mark: str, now: Shown) -> list[str]:
        """How the present differs from what was shown, in lines; empty if nothing differs."""
        if mark == now.fingerprint:
            return []
        then = self._shown.get(mark)
        if then is None:
            return ["it is not what was shown last; look at it again"]
        lines = [
            line
            for line in difflib.unified_diff(then.schedule.splitlines(), now.schedule.splitlines(), lineterm="", n=0)
            if not line.startswith(("---", "+++", "@@"))
        ]
        for words, a, b in (
            ("the oven's description has been changed", then.oven, now.oven),
            ("the oven's limits have been changed", then.limits, now.limits),
            ("the trained model has been changed", then.model, now.model),
        ):
            lines += [words] if a != b else []
        return lines[:MOST_LINES]
