"""The runs of one oven, and its ageing: the same soak of the same schedule with the same load, now and before.

Four figures tell most of it. The *power to hold* a soak rises when heat finds a new way out; the *time* to the first
soak rises when the elements weaken; the *gain* (rise per kilowatt hour in heating up) falls when power no longer turns
into heat where the sensor is; the *strength* (measured power for each commanded share) falls when the elements'
resistance has risen, or something in the circuit does not conduct. Each is compared only with its own past, by medians,
which a few odd runs do not move.

Without a current meter power is what was commanded, and weaker elements look like a greater loss: more is
fired to hold. The gain tells them apart, see ELEMENTS_FROM.
"""

import math
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from ..errors import KilnctlError
from ..output import clock
from ..record.folder import plain
from ..record.power_columns import commanded_share, fired_share, power_w
from ..record.retention import is_record, natural
from ..record.run_record import RunRecord, not_a_folder, read_run
from ..run.summary import Soak, Summary, sample_s, summarise
from .verdict import verdict

#: Earlier runs needed before anything is said.
FEWEST = 3
#: The past is the first so many runs: a comparison with the latest ones would hide slow ageing.
FIRST = 8
#: A change counts when it is above this share of the figure and above this many spreads.
LEAST_CHANGE, SPREADS = 0.05, 4.0
#: A spread is never taken below this share: supply voltage and room temperature alone move a figure by so much.
LEAST_SPREAD = 0.015
#: Steps between earlier runs from which their trend can be told.
TREND_STEPS = 4
#: Runs are compared only when they began within this of each other, K.
SAME_START_K = 15.0
#: The strength is given for runs with at least so many commanded seconds of full power.
STRENGTH_S = 60.0
#: Ratio of two logarithms: fall of the gain over rise of the commanded power to hold. Elements weaker by some share
#: raise what is commanded to hold by it, and take P/(P − losses) times as much off the gain: 1 or more. A new way out
#: takes about half as much at half of the temperature, out of full power: on the virtual cabinet 0.58 to 0.68 for vents
#: twice and three times as wide. It grows with the share of full power that holding takes: above LIGHT, and between the
#: two figures, the runs cannot tell the causes apart.
ELEMENTS_FROM, LOSSES_TO, LIGHT = 1.0, 0.8, 0.45

_WEAKER = (
    "less power goes in than is commanded: the elements are weaker, or something in their circuit does not conduct as "
    "it did. With the oven dead and cold, check the elements, their connections and the relay"
)
_EITHER = (
    "more is commanded to hold than before: either more heat gets out, or less goes in than is commanded; without a "
    "current meter these runs cannot tell which. With the oven dead and cold, look at the door and its seal, "
    "the insulation, the elements and their connections"
)
#: Possible causes for each figure: of a rise, of a fall.
_CAUSES = {
    "hold": (
        (
            "more heat gets out than before. With the oven dead and cold, look at the door and its seal, the "
            "insulation and the vent"
        ),
        (
            "less heat gets out than before, or the sensor reads too high: see that it sits where it did and nowhere "
            "near an element"
        ),
    ),
    "time": (
        (
            "the elements give less heat than before, or more gets out. With the oven dead and cold, check the "
            "elements and their connections"
        ),
        "heat reaches the sensor sooner: see that it sits where it did, and that the load was the usual one",
    ),
    "gain": (
        (
            "fired power warms the sensor more than before: see that it sits where it did, and that the load was the "
            "usual one"
        ),
        (
            "less of the fired power arrives as heat: with the oven dead and cold, check the elements, their "
            "connections and the insulation"
        ),
    ),
    "strength": (
        (
            "the elements take more power than before: with the oven dead and cold, see whether an element was "
            "changed or part of it is short-circuited, and whether the current meter is right"
        ),
        _WEAKER,
    ),
}
#: Name, unit and decimals of each figure.
_NAMES = {
    "strength": ("power of the elements", "W", 0),
    "hold": ("power to hold", "W", 0),
    "time": ("time to the first soak", "s", 0),
    "gain": ("rise per energy", "K/kWh", 1),
}


@dataclass(frozen=True)
class Figure:
    """One figure of one run. `what` is "strength", "hold", "time" or "gain"; `where` says of which soak; `alike` is
    equal for runs that compare, and ends with whether power was measured; `of_full`: a power to hold as a share of full
    power."""

    what: str
    where: str
    value: float
    alike: tuple
    of_full: float = math.nan

    @property
    def name(self) -> str:
        """In words; says so where it rests on commands alone."""
        commanded = self.what in ("hold", "gain") and not self.alike[-1]
        return _NAMES[self.what][0] + (" (as commanded)" if commanded else "")

    @property
    def unit(self) -> str:
        return _NAMES[self.what][1]

    def shown(self, value: float) -> str:
        """A value of this figure with its unit."""
        _, unit, decimals = _NAMES[self.what]
        return clock(value) if self.what == "time" else f"{value:.{decimals}f} {unit}"

    @property
    def title(self) -> str:
        """Its name, and of which soak it is."""
        return f"{self.name}, {self.where}"

    @property
    def text(self) -> str:
        return f"{self.title}: {self.shown(self.value)}"


@dataclass(frozen=True)
class Past:
    """One run in the history. `asked`: it did what its schedule asks."""

    folder: Path
    schedule: str
    started: str
    summary: Summary
    start_c: float
    figures: tuple[Figure, ...]
    trips: tuple[str, ...]
    asked: bool


@dataclass(frozen=True)
class AgeingFinding:
    """A figure of the newest run compared with its own past. `change` is relative; `warning` is empty without a
    change."""

    figure: Figure
    usual: float
    spread: float
    runs: int
    warning: str

    @property
    def change(self) -> float:
        return self.figure.value / self.usual - 1.0


@dataclass(frozen=True)
class History:
    oven: str
    runs: tuple[Past, ...]
    findings: tuple[AgeingFinding, ...]
    left_out: tuple[str, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        return tuple(f.warning for f in self.findings if f.warning)


def figures_of(run: RunRecord, summary: Summary) -> tuple[Figure, ...]:
    """The figures of one run that show ageing; none of a run that tripped before it reached them."""
    load = str(sorted((plain(run.load) or {}).items()))
    power = power_w(run.data, run.oven, plain(run.model))
    alike = (run.schedule.sha256 or run.schedule.name, load, fired_share(run.data)[1])
    out = []
    strength = _strength_w(run, power)
    if math.isfinite(strength):
        out.append(Figure("strength", "at full power and rated voltage", strength, ("strength", *alike)))
    out += _holding(run, summary, power, alike)
    if summary.soaks and math.isfinite(summary.soaks[0].arrived_s):
        out += _heating_up(run, summary.soaks[0], power, alike)
    return tuple(out)


def _holding(run: RunRecord, summary: Summary, power: np.ndarray, alike: tuple) -> list[Figure]:
    """Power to hold in each soak that lasted long enough. `power` in W, one value a sample."""
    out, t = [], run.time_s
    for number, soak in enumerate(summary.soaks):
        # The last third, when the lining has had most time to fill; at least five minutes of a settled soak.
        begin = soak.end_s - max(300.0, (soak.end_s - soak.arrived_s) / 3.0)
        if math.isfinite(soak.settled_s) and begin >= soak.settled_s:
            inside = (t > begin) & (t <= soak.end_s)
            share, held_w = float(np.mean(fired_share(run.data)[0][inside])), float(np.mean(power[inside]))
            if held_w > 0.0:
                out.append(Figure("hold", f"'{soak.name}'", held_w, ("hold", number, *alike), share))
    return out


def _heating_up(run: RunRecord, soak: Soak, power: np.ndarray, alike: tuple) -> list[Figure]:
    """Time to the first soak, and the rise per energy from 20 to 70 % of the way there."""
    out, t, start = [], run.time_s, _start_c(run)
    if soak.arrived_s > t[0]:
        out.append(Figure("time", f"'{soak.name}'", soak.arrived_s - float(t[0]), ("time", *alike)))
    low, high = (start + share * (soak.target_c - start) for share in (0.2, 0.7))
    passed = [int(np.argmax(run.chamber_c >= level)) for level in (low, high)]
    energy = float(np.sum(power[passed[0] : passed[1]])) * sample_s(t) / 3.6e6
    if soak.target_c - start > 30.0 and 0 < passed[0] < passed[1] and energy > 0.0:
        out.append(Figure("gain", f"'{soak.name}'", (high - low) / energy, ("gain", *alike)))
    return out


def _strength_w(run: RunRecord, power: np.ndarray) -> float:
    """Electric power for each unit of commanded share, at the rated voltage, W; NaN where no current was measured,
    since that would compare a command with itself."""
    share, measured = fired_share(run.data)
    asked = commanded_share(run.data)
    asked = share if asked is None else asked
    if not measured or float(np.sum(asked)) < STRENGTH_S / sample_s(run.time_s):
        return math.nan
    supply = run.oven.supply
    ratio = run.supply_v / supply.voltage_v if supply else np.ones(len(power))
    ratio = np.where(np.isfinite(ratio) & (ratio > 0.3), ratio, 1.0)
    return float(np.sum(power / ratio**2) / np.sum(asked))


def _start_c(run: RunRecord) -> float:
    early = run.chamber_c[:30]
    return float(np.nanmedian(early)) if np.isfinite(early).any() else math.nan


def order_of(past: Past) -> tuple[float, str, list[tuple[int, str]]]:
    """Sort key of runs: by the time at which they started, where it is known with its offset from UTC (the hour that
    comes twice in autumn is told apart by it); else by the folders' names with numbers in order."""
    try:
        started_s = datetime.strptime(past.started, "%Y-%m-%d %H:%M:%S %z").timestamp()
    except ValueError:
        return -math.inf, past.started, natural(past.folder.name)
    return started_s, past.started, natural(past.folder.name)


def read_history(place: str | Path, oven: str | None = None, since: str | None = None) -> History:
    """Every run of one oven below `place`, which must hold runs of one oven alone unless it is named. With `since` they
    begin at the run in the folder of that name: a repair begins a new past. Raises KilnctlError; a record that cannot
    be read is left out and reported."""
    place = Path(place)
    if not place.is_dir():
        raise KilnctlError(f"{place}: {not_a_folder(place)}; give the folder below which the runs lie")
    found, left_out, names = [], [], set()
    try:
        folders = sorted(p for p in place.iterdir() if p.is_dir())
    except OSError as error:
        raise KilnctlError(f"{place}: cannot be read: {error.strerror}") from None
    for folder in folders:
        try:
            if not is_record(folder):
                continue
            run = read_run(folder)
        except KilnctlError as error:
            left_out.append(str(error))
            continue
        names.add(run.oven.name)
        if oven is None or run.oven.name == oven:
            summary = summarise(run)
            found.append(
                Past(
                    folder,
                    run.schedule.name,
                    run.started,
                    summary,
                    _start_c(run),
                    figures_of(run, summary),
                    tuple(t.fault for t in run.trips),
                    verdict(run, summary).good,
                )
            )
    if oven is None and len(names) > 1:
        raise KilnctlError(
            f"{place}: there are runs of several ovens; choose one with --oven: {', '.join(sorted(names))}"
        )
    if not found:
        raise KilnctlError(
            f"{place}: no run{f' of {oven!r}' if oven else ''} lies there"
            + (f" (found: {', '.join(sorted(names))})" if names else "")
        )
    runs = tuple(sorted(found, key=order_of))
    if since is not None:
        begin = [i for i, run in enumerate(runs) if run.folder.name == Path(since).name]
        if not begin:
            raise KilnctlError(f"{place}: there is no run '{since}' of this oven to begin from")
        runs = runs[begin[0] :]
    return History(oven or names.pop(), runs, compare(runs), tuple(left_out))


def compare(runs: tuple[Past, ...]) -> tuple[AgeingFinding, ...]:
    """The newest figure of each kind compared with the first ones of its kind, where there are FEWEST or more."""
    out: list[tuple[Figure, Past, np.ndarray]] = []
    newest: dict[tuple, tuple[int, Figure]] = {}
    for place, run in enumerate(runs):
        for figure in run.figures:
            newest[figure.alike] = (place, figure)
    for alike, (place, figure) in newest.items():
        start = runs[place].start_c
        earlier = [
            f.value
            for run in runs[:place]
            if abs(run.start_c - start) <= SAME_START_K
            for f in run.figures
            if f.alike == alike
        ]
        if len(earlier) >= FEWEST:
            out.append((figure, runs[place], np.array(earlier[:FIRST])))
    gains = {f.alike[1:]: f.value / float(np.median(earlier)) for f, _, earlier in out if f.what == "gain"}
    return tuple(_judge(figure, run, earlier, gains) for figure, run, earlier in out)


def _cause(figure: Figure, change: float, gains: dict[tuple, float]) -> str:
    """Possible causes of a figure's change by that factor. `gains`: the gain's factor in comparable runs."""
    if figure.what != "hold" or change < 1.0 or figure.alike[-1]:
        return _CAUSES[figure.what][0 if change > 1.0 else 1]
    gain = gains.get(figure.alike[2:])
    if gain is None or gain <= 0.0 or not figure.of_full <= LIGHT:
        return _EITHER
    share = -math.log(gain) / math.log(change)
    return _WEAKER if share >= ELEMENTS_FROM else _CAUSES["hold"][0] if share <= LOSSES_TO else _EITHER


def _judge(figure: Figure, run: Past, earlier: np.ndarray, gains: dict[tuple, float]) -> AgeingFinding:
    usual = float(np.median(earlier))
    # From the steps between successive runs, so that slow ageing does not pass for scatter. 1.4826 makes a median
    # absolute deviation the standard deviation of a normal distribution (common practice), √2 because a step has the
    # scatter of two runs. With enough steps their own trend is subtracted, which costs one of them.
    steps = np.diff(earlier)
    if len(steps) >= TREND_STEPS:
        steps = (steps - np.median(steps)) * len(steps) / (len(steps) - 1.0)
    spread = max(1.4826 / math.sqrt(2.0) * float(np.median(np.abs(steps))), LEAST_SPREAD * usual)
    off = figure.value - usual
    warning = ""
    if abs(off) > max(SPREADS * spread, LEAST_CHANGE * usual):
        more = f"{100 * abs(off) / usual:.0f} % {'more' if off > 0.0 else 'less'} than before"
        warning = (
            f"{run.schedule}: {figure.text}, {more} ({figure.shown(usual)}, median of the first {len(earlier)} runs): "
            f"{_cause(figure, figure.value / usual, gains)}."
        )
    return AgeingFinding(figure, usual, spread, len(earlier), warning)
