"""A schedule: steps as people say them. `load_schedule` reads one; it knows nothing of any oven."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from .construction import Load
from .document import parse_document, read_text
from .fields import choice, flag, many, one, quantity, text
from .flammable import Vapour
from .oven import CEILING_C
from .yaml_reader import read_root


@dataclass(frozen=True, kw_only=True)
class Step:
    """Go `to` a temperature (`at` a rate, `in` a time, or as fast as the oven can), then `hold` it.

    A step with `hold` alone stays where the step before ended. `let cool` goes down without heat and without a rate."""

    name: str = text("what happens in it", default="")
    to_c: float | None = quantity("temperature", "temperature to go to", default=None, low=0.0, high=CEILING_C)
    at_k_per_s: float | None = quantity("rate", "rate of change, up or down", default=None, low=1e-6, high=5.0)
    in_s: float | None = quantity("time", "time to get there", default=None, low=1.0, high=14 * 86400.0)
    let_cool: bool = flag("heat off until the temperature has fallen that far", default=False)
    hold_s: float = quantity("time", "time to stay", default=0.0, low=0.0, high=14 * 86400.0)
    within_k: float = quantity("difference", "band in which the soak's time counts", default=3.0, low=0.3, high=50.0)

    def problems(self) -> Iterator[tuple[str, str]]:
        ways = [self.at_k_per_s is not None, self.in_s is not None, self.let_cool]
        if self.to_c is None and (any(ways) or not self.hold_s):
            yield "name", "a step needs 'to' (a temperature) or 'hold' (a time)"
        if sum(ways) > 1:
            yield "to_c", "give only one of 'at', 'in' and 'let cool'"


@dataclass(frozen=True, kw_only=True)
class Cure:
    """Time at temperature that counts as a full cure, and how the rate changes with temperature."""

    at_c: float = quantity("temperature", "temperature of the reference cure", low=40.0, high=400.0)
    time_s: float = quantity("time", "time of the reference cure", low=10.0, high=86400.0)
    activation_j_per_mol: float = quantity(
        "molar energy", "activation energy", default=80000.0, low=10000.0, high=400000.0, key="activation energy"
    )


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """A whole schedule file. Its first key is `schedule:`, the name."""

    name: str = text("name of the schedule", key="schedule", longest=80)
    about: str = text("what it is for", default="")
    follows: str = choice(("chamber", "part"), "which temperature the steps are about", default="chamber")
    steps: tuple[Step, ...] = many(Step, "the steps in order", fewest=1, most=100)
    soak_counts: str = choice(
        ("in band", "from arrival"),
        "when a soak's time runs: only while inside the band, or always once there",
        default="in band",
    )
    too_fast: str = choice(
        ("stretch", "refuse"), "what to do with a ramp that the oven cannot follow", default="refuse"
    )
    highest_c: float | None = quantity(
        "temperature",
        "chamber limit of this schedule, below the oven's own; a little above it the heat is cut. Without one that is "
        "50 K or 5 % above the hottest step (or start), where the chamber is followed",
        default=None,
        low=40.0,
        high=CEILING_C,
    )
    part_highest_c: float | None = quantity(
        "temperature",
        "limit of the part's temperature, for ovens with a sensor on it (10 K above, the heat is cut)",
        default=None,
        low=40.0,
        high=CEILING_C,
    )
    longest_s: float | None = quantity(
        "time", "longest run before it is stopped", default=None, low=60.0, high=14 * 86400.0
    )
    most_energy_j: float | None = quantity(
        "energy", "most energy before it is stopped", default=None, low=1e4, high=1e10
    )
    flammable_vapour: bool = flag("the load gives off flammable vapour: proved ventilation is required", default=False)
    vapour: Vapour | None = one(Vapour, "what the load gives off that can burn, and how much of it", default=None)
    load: Load | None = one(Load, "what is put in, instead of the oven's usual load", default=None)
    cure: Cure | None = one(Cure, "cure to be credited", default=None)
    after_power_loss: str = choice(
        ("stop", "resume"), "after a short outage with a consistent temperature", default="stop"
    )
    unattended: bool = flag(
        "it may begin at a set hour, with nobody there (`kilnctl start … --ready-at`); never with flammable vapour",
        default=False,
    )
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)
    file: str = ""
    sha256: str = ""

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.steps[0].to_c is None:
            yield "steps", "the first step needs 'to': there is no temperature yet to hold"
        before_c = None
        for i, step in enumerate(self.steps, 1):
            if step.let_cool and before_c is not None and step.to_c is not None and step.to_c > before_c:
                yield "steps", f"step {i} lets cool to {step.to_c:g} °C, and the step before it is at {before_c:g} °C"
            before_c = before_c if step.to_c is None else step.to_c
        if self.vapour is not None and not self.flammable_vapour:
            yield "vapour", "this load gives off vapour that can burn: say 'flammable vapour: yes' too"
        if self.unattended and self.flammable_vapour:
            yield "unattended", "with flammable vapour somebody has to be there: leave 'unattended' out"
        top = (
            max(s.to_c for s in self.steps if s.to_c is not None)
            if any(s.to_c is not None for s in self.steps)
            else 0.0
        )
        if self.highest_c is not None and self.follows == "chamber" and top > self.highest_c:
            yield "highest_c", f"a step goes to {top:g} °C, above this schedule's own limit of {self.highest_c:g} °C"
        if self.part_highest_c is not None and self.follows == "part" and top > self.part_highest_c:
            yield (
                "part_highest_c",
                f"a step takes the part to {top:g} °C, above its limit of {self.part_highest_c:g} °C",
            )

    @property
    def top_c(self) -> float:
        """Highest temperature that any step goes to."""
        return max(s.to_c for s in self.steps if s.to_c is not None)


def schedule_of(source: str, name: str) -> Schedule:
    """A schedule from text that is in no file yet; `name` stands where the file would. Raises `SettingsError`."""
    return read_root(
        Schedule,
        parse_document(source, name),
        name,
        {"file": "", "sha256": hashlib.sha256(source.encode()).hexdigest()},
    )


def load_schedule(path: str | Path) -> Schedule:
    """Read a schedule file. Raises `SettingsError` with every problem found, each with file:line:column."""
    source, data = read_text(path)
    return read_root(
        Schedule,
        parse_document(source, str(path)),
        str(path),
        {"file": str(path), "sha256": hashlib.sha256(data).hexdigest()},
    )
