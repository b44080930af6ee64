"""`kilnctl check OVEN [SCHEDULE]`: everything that is wrong, or what was understood."""

import argparse
import math
from dataclasses import replace

from ..body import load_oven
from ..body.bursts import bursts_note, without_minimum_on
from ..body.layers import load_material
from ..control import least_energy_j, planned_s
from ..control.ripple import TOLD_K
from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.doubt import coolest_of, day_zero_doubt
from ..model.load_range import LEAST_KNOWN
from ..model.promise import heated_c, promised_c
from ..model.uncertainty import ModelUncertainty, uncertainty_of
from ..output import Units, about, typed
from ..report.findings_text import brief_lines, findings_lines
from ..run.burst_swing import swing_of
from ..run.prepare import Guard, PreparedRun, prepare
from ..run.too_quick import ahead_of_reading, refuse_too_quick
from ..safety import Policy, policy_for, schedule_trip_words, vapour_sum
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..sizing import Sizing, size
from ..sizing.ignition import ignition_finding
from ..terms import ExitStatus
from . import _options
from ._files import oven_and_schedule
from ._options import chosen

#: What `check` compares with for a load of which the file does not say how well it is known, a share; a promise differs
#: from that on, K.
KNOWN, DIFFERS_K = 0.1, 1.0


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("schedule", nargs="?", help="schedule file (YAML) to be checked against that oven")
    parser.add_argument(
        "--model",
        metavar="FILE",
        help="the trained model that the run would be controlled with (default: from the description)",
    )


def run(args: argparse.Namespace) -> int:
    schedule = None
    if args.schedule:
        oven, schedule = oven_and_schedule(args.oven, args.schedule)
    else:
        oven = load_oven(args.oven)
    u = chosen(args, oven, schedule)
    sizing = _tell_oven(args, oven, schedule, u)
    if schedule is not None:
        _tell_schedule(args, oven, schedule, sizing, u)
        model = f" --model {typed(args.model)}" if args.model else ""
        print(f"next: kilnctl rehearse {typed(args.oven, args.schedule)}{model}")
        return _status(sizing)
    policy = policy_for(oven)  # refuses an oven that the rules cannot watch
    guard = Guard(day_zero(oven, oven.usual_load), day_zero_doubt(oven, oven.usual_load))
    refuse_too_quick(oven, guard.model, policy)
    tell_limiter(oven, oven.usual_load, guard, oven.limits.trip_at_c, u)
    if args.model:
        raise KilnctlError("--model: a model is checked with a schedule; name one too")
    print(f"next: kilnctl size {typed(args.oven)}, or kilnctl check {typed(args.oven)} SCHEDULE")
    return _status(sizing)


def _status(sizing: Sizing) -> ExitStatus:
    return ExitStatus.ANSWER_NO if sizing.wrong else ExitStatus.DONE


def _tell_oven(args: argparse.Namespace, oven: Oven, schedule: Schedule | None, u: Units) -> Sizing:
    sizing = size(oven)  # refuses layers above their limit, each with its place
    power_w = oven.elements.power_w
    assert power_w is not None, "known once the file is read"
    c, highest = oven.chamber, u.temperature(oven.limits.highest_c)
    if wrong := findings_lines(sizing.wrong, u):
        print("\n".join(["DANGER, before anything else:", *wrong]))
    print(f"{args.oven}: understood.")
    sides = " × ".join(u.length(m, 1 if u.imperial else 0) for m in (c.width_m, c.depth_m, c.height_m))
    print(
        f"  {oven.name}: {sides} inside, "
        f"{power_w / 1000:.2f} kW at {oven.supply.voltage_v:.0f} V {oven.supply.frequency_hz:.0f} Hz"
    )
    print(f"  schedules may go to {highest}; the software cuts the heat at {u.temperature(oven.limits.trip_at_c)}")
    print(
        f"  holding {highest} should take about {sizing.power_w(oven.limits.highest_c) / 1000:.2f} kW "
        "(`kilnctl size` says more)"
    )
    if not args.model:
        tell_known(uncertainty_of(oven, oven.usual_load))
    if sizing.max_chamber_c < oven.limits.highest_c:
        print(f"  note: its power reaches only about {u.temperature(sizing.max_chamber_c)}")
    if oven.limits.limiter_c is None:
        print("  note: no independent limiter is described (limits: limiter). Build one; see SAFETY.md")
    # With a schedule, what a `minimum on` does is told there, once.
    if (schedule is None or oven.switching.minimum_on_s is None) and (said := bursts_note(oven)):
        print(f"  note: {u.words(said)}")
    print(f"  supply, by {sizing.wiring.rules} (from memory; the local code and a licensed electrician decide):")
    for line in brief_lines(sizing.wiring.findings, u):
        print(f"  {line}")
    print("  limiter, circulation fan, and lamps on the same line:")
    for line in brief_lines(sizing.protection, u):
        print(f"  {line}")
    for assumption in oven.assumptions:
        print(f"  assumed {u.words(assumption)}")
    return sizing


def tell_known(known: ModelUncertainty) -> None:
    """How far the description's model may be off."""
    print(
        f"  before a learning run, control knows its power to ±{100 * known.power:.0f} %, what it stores to "
        f"±{100 * known.capacity:.0f} %, what it loses to ±{100 * known.loss:.0f} %"
    )
    if known.unlisted > 0.0:
        print(
            f"  note: the file names no shelf or hearth; with one it may store {100 * known.unlisted:.0f} % more, "
            "which the rules allow for until a learning run (shelf)"
        )


def tell_limiter(oven: Oven, load: Load | None, guard: Guard, trip_c: float, u: Units) -> None:
    """What the energy limiter guarantees if the control sensor reads too low, and what it takes for granted of the
    load; before the oven is learnt also what it would with that load known (`KNOWN`), where that differs."""
    metered = oven.meters.supply or oven.meters.current
    coolest, most_c = coolest_of(oven, load, guard.model, guard.doubt), guard.model.highest_c()
    held_c = promised_c(coolest, guard.model, trip_c, metered)
    heated = most_c
    told = f"the energy limiter promises nothing below the {u.temperature(most_c)} that full power holds"
    if held_c < most_c:
        heated = min(most_c, heated_c(coolest, guard.model, trip_c, metered))
        told = (
            f"the energy limiter ends the heat before the chamber is held for hours at {u.temperature(held_c)}, "
            f"and at full power from cold by {u.temperature(heated)}"
        )
    print(f"  if the control sensor reads too low, {told} ({coolest.words})")
    unsaid = load if load is not None and load.known_within is None else None
    if held_c < most_c and unsaid is not None and not coolest.learnt:
        known = coolest_of(oven, replace(unsaid, known_within=KNOWN), guard.model, guard.doubt)
        sooner_c = heated_c(known, guard.model, trip_c, metered)
        if sooner_c < heated - DIFFERS_K:
            print(
                f"  note: with the load weighed and measured, by {u.temperature(sooner_c)} (load: 'known within: "
                f"{100.0 * KNOWN:.0f} %')"
            )
    if coolest.learnt and unsaid is not None:
        print(
            f"  note: a load more than {100.0 * LEAST_KNOWN:.0f} % heavier than written may end the heat too; write "
            "what it weighs, or how far it may be off (load: 'known within: 200 %')"
        )
    if not coolest.learnt:
        print("  note: a learning run brings that down (`kilnctl learn`); a second sensor finds it sooner")
    if not metered:
        print("  note: a meter of supply or current brings that down (meters)")


def _tell_schedule(args: argparse.Namespace, oven: Oven, schedule: Schedule, sizing: Sizing, u: Units) -> None:
    ready = prepare(oven, schedule, args.model)
    programme, policy = ready.programme, ready.policy
    needed_j, too_long = least_energy_j(programme), planned_s(programme) > policy.longest_s
    too_much = " and ".join(["time"] * too_long + ["energy"] * (needed_j > policy.most_energy_j))
    can = f"can follow it, but not to its end: it takes too much {too_much}." if too_much else "can do it."
    print(f"{args.schedule}: understood, and {oven.name} {can}")
    count = len(schedule.steps)
    print(
        f"  {count} step{'s' * (count != 1)} up to {u.temperature(schedule.top_c)}; "
        f"ramps and soaks take {about(planned_s(programme))} besides heating up and cooling"
    )
    print(f"  {u.knowing(policy.schedule_trip_c).words(schedule_trip_words(schedule, policy.schedule_trip_c))}")
    print(f"  control's model: {u.words(ready.model_words)}")
    tell_limiter(oven, ready.load, ready.guard, policy.schedule_trip_c, u)
    rise = u.words(f"{policy.rise_k_per_s:.2f} K/s")
    print(
        f"  the heat is also cut when the reading rises faster than {rise}, "
        f"and {about(policy.longest_s)} after the start"
    )
    if too_long:
        print(
            "  note: its ramps and soaks alone take longer than that: the heat is cut before its end (limits: longest "
            "in the oven's file, or longest in the schedule)"
        )
    if needed_j > policy.most_energy_j:
        least, most = (f"{joules / 3.6e6:.3g} kWh" for joules in (needed_j, policy.most_energy_j))
        print(
            f"  note: its soaks and what is in the oven alone take about {least}, and the heat is cut after {most} "
            "(limits: most energy in the oven's file, or most energy in the schedule)"
        )
    if ready.load is not None and schedule.top_c > (bears := load_material(oven, ready.load)).limit_c:
        print(
            f"  note: {ready.load.name}: {bears.name} is known to bear {u.temperature(bears.limit_c)} "
            f"({bears.source}), and the schedule goes to {u.temperature(schedule.top_c)}: it may burn, melt, crack or "
            "give off fumes; find out what yours bears"
        )
    for shortfall in programme.shortfalls:
        print(f"  note: {u.words(shortfall.note)}")
    if oven.switching.minimum_on_s is not None:
        _tell_bursts(ready, u)
    _tell_quick(ready, u)
    if schedule.follows == "part" and oven.sensors.part is None:
        print(
            "  note: no thermocouple is on the part: its temperature is only estimated, and nothing guards it "
            "(sensors: part)"
        )
    if schedule.flammable_vapour:
        _tell_vapour(oven, schedule, policy, sizing, u)


def _tell_bursts(ready: PreparedRun, u: Units) -> None:
    """What bursts of a length that the file gives do to the soaks, where it is more than a soak may swing; else what
    they do to the elements."""
    top_c, programme = ready.schedule.top_c, ready.programme
    chamber_k, reading_k = swing_of(ready.model, ready.pattern, top_c)
    if chamber_k <= TOLD_K:
        if said := bursts_note(ready.oven):
            print(f"  note: {u.words(said)}")
        return
    said = (
        f"bursts of {ready.oven.switching.minimum_on_s:.2g} s will swing the chamber by about {chamber_k:.0f} K about "
        f"{top_c:.0f} °C, and its reading by {reading_k:.0f} K, by the model (switching: minimum on); control holds "
        f"the mean; {without_minimum_on(ready.oven)}"
    )
    band_k = min((leg.band_k for leg in programme.legs if leg.kind == "hold"), default=math.inf)
    if 0.5 * chamber_k > band_k and not programme.count_always:
        said += f"; a soak counts only while the chamber is within {band_k:.2g} K of it, so it takes longer"
    if top_c + 0.5 * reading_k > ready.policy.schedule_trip_c:
        said += f"; the peaks pass the {ready.policy.schedule_trip_c:.0f} °C at which the heat is cut"
    if ready.policy.noise_k > policy_for(ready.oven).noise_k:
        said += f"; jitter of the reading counts as a fault only above {ready.policy.noise_k:.1f} K for it"
    print(f"  note: {u.words(said)}")


def _tell_quick(ready: PreparedRun, u: Units) -> None:
    """That an oven which is not quite as described may pass its trip before its sensor shows it."""
    top_c, trip_c = ready.schedule.top_c, ready.policy.schedule_trip_c
    if ready.guard.doubt.learnt:
        return
    rates = [step.at_k_per_s for step in ready.schedule.steps if step.to_c == top_c]
    ahead_k, time_s = ahead_of_reading(ready.model, top_c, rates[0])
    if ahead_k <= trip_c - top_c:
        return
    said = (
        f"it is at {top_c:.0f} °C within {time_s:.0f} s, and its sensor then shows {ahead_k:.0f} K less, by the model: "
        "if the oven is not quite as described, the first run may overshoot to the "
        f"{trip_c:.0f} °C at which the heat is cut. "
        "A slower rise (steps: at), a quicker sensor or less power helps; so does a learning run"
    )
    print(f"  note: {u.words(said)}")


def _tell_vapour(oven: Oven, schedule: Schedule, policy: Policy, sizing: Sizing, u: Units) -> None:
    print(
        "  this load gives off flammable vapour: heat only while the ventilation is proved, and only after a purge "
        f"of {about(policy.purge_s)} with it"
    )
    summed = vapour_sum(oven, schedule, policy.schedule_trip_c)
    print("vapour, by the standards that each line names (from memory; the local code decides):")
    for line in findings_lines((*summed.findings, ignition_finding(sizing, summed)), u):
        print(line)
    for caution in summed.cautions:
        print(f"  mind: {u.words(caution)}")
