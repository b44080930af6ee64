"""Which speed of the trim suits this oven, given what is not known about it? The same drawn ovens under several settings, each with a
sag of its supply in the first soak: without a disturbance the slowest trim would always look best."""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from ..output import Units
from .draw import Case
from .sensitivity import spread
from .study import Study, run_case

#: Settings of `control: trim` that are compared.
SETTINGS = (0.25, 0.5, 1.0, 2.0, 4.0)
#: Two settings are as good as each other when their figures differ by no more, K.
EQUAL_K = 0.1


@dataclass(frozen=True)
class Setting:
    """Of one trim: 95 % points over the draws of overshoot, worst soak deviation, and restlessness of the duty; share of draws that
    tripped or never reached a soak."""

    trim: float
    overshoot_k: float
    deviation_k: float
    activity: float
    failed: float

    @property
    def control_k(self) -> float:
        """What is to be small: the larger of overshoot and deviation."""
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
    """Of those that lose the fewest draws and are within EQUAL_K of the best in control, the one that leaves the duty most in peace."""
    fewest = min(s.failed for s in settings)
    sound = [s for s in settings if s.failed <= fewest + 1e-9]
    best = min(s.control_k for s in sound)
    return min((s for s in sound if s.control_k <= best + EQUAL_K), key=lambda s: (s.activity, s.trim))


def as_text(settings: tuple[Setting, ...], now: float, u: Units = Units()) -> str:
    """The table and the suggestion, in the reader's units."""
    unit, scale = ("°F", 1.8) if u.imperial else ("K", 1.0)
    chosen = suggest(settings)
    out = [
        f"{'trim':>6s} {'overshoot, ' + unit:>13s} {'soak, ' + unit:>9s} {'restlessness, 1/min':>20s} {'lost draws':>11s}   (95 of 100 draws are below)"
    ]
    for s in settings:
        out.append(
            f"{s.trim:6g} {scale * s.overshoot_k:13.2f} {scale * s.deviation_k:9.2f} {s.activity:20.3f} {100 * s.failed:9.1f} %"
            + ("   suggested" if s is chosen else "")
            + ("   now" if s.trim == now else "")
        )
    out.append(
        f"\nsuggested: 'control: {{trim: {chosen.trim:g}}}' — within {scale * EQUAL_K:g} {unit} of the best control of these, with the calmest duty"
    )
    return "\n".join(out)
