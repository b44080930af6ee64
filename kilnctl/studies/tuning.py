"""Which speed of the trim suits this oven, given what is not known about it? The same drawn ovens under several
settings, each with a sag of its supply in the first soak: without a disturbance the slowest trim would always look
best."""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from .draw import Case
from .many_draws import Study, run_case
from .sensitivity import spread

#: Settings of `control: trim` that are compared.
SETTINGS = (0.25, 0.5, 1.0, 2.0, 4.0)
#: Two settings count as equally good when their figures differ by no more than this, K.
EQUAL_K = 0.1


@dataclass(frozen=True)
class Setting:
    """Of one trim: 95 % points over the draws of overshoot, worst soak deviation, and restlessness of the duty; share
    of draws that tripped or never reached a soak."""

    trim: float
    overshoot_k: float
    deviation_k: float
    activity: float
    failed: float

    @property
    def control_k(self) -> float:
        """The figure to minimise: the larger of overshoot and deviation."""
        return max(self.overshoot_k, self.deviation_k)


def compare(
    case: Case,
    draws: int,
    settings=SETTINGS,
    *,
    executor: Executor | None = None,
    jobs: int | None = None,
    keep: Path | None = None,
    progress: Callable[[int, int, float], None] | None = None,
) -> tuple[Setting, ...]:
    """The table; `keep` is a folder for the finished draws of each setting."""
    found = []
    for number, trim in enumerate(settings):
        oven = replace(case.oven, control=replace(case.oven.control, trim=trim))
        told = (
            None
            if progress is None
            else lambda done, all_, left, n=number: progress(
                n * all_ + done, len(settings) * all_, left + (len(settings) - n - 1) * left
            )
        )
        made = run_case(
            replace(case, oven=oven, sag=True),
            draws,
            executor=executor,
            jobs=jobs,
            keep=keep and keep / f"draws-trim-{trim:g}.jsonl",
            progress=told,
        )
        found.append(setting_of(trim, made))
    return tuple(found)


def setting_of(trim: float, made: Study) -> Setting:
    def high(name: str) -> float:
        s = spread(made.values(name), +1)
        return float("inf") if s is None else s.high

    reached = len(made.values("soak_deviation_k"))
    lost = len(made.rows) - min(reached, len(made.good) - len(made.tripped))
    return Setting(trim, high("overshoot_k"), high("soak_deviation_k"), high("duty_activity"), lost / len(made.rows))


def suggest(settings: tuple[Setting, ...]) -> Setting:
    """Of the settings that lose the fewest draws and control within EQUAL_K of the best, the one with the calmest
    duty."""
    fewest = min(s.failed for s in settings)
    sound = [s for s in settings if s.failed <= fewest + 1e-9]
    best = min(s.control_k for s in sound)
    return min((s for s in sound if s.control_k <= best + EQUAL_K), key=lambda s: (s.activity, s.trim))
