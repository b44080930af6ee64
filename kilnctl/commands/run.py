"""`kilnctl run OVEN SCHEDULE`: the real thing, in real time, on any rig."""

import argparse
import contextlib
import dataclasses
import math
import sys
import time
from pathlib import Path

from ..errors import KilnctlError
from ..output import Units, chosen, clock


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("schedule", nargs="?", help="schedule file (YAML); leave it out with --idle")
    parser.add_argument(
        "--idle", action="store_true", help="wait for schedules (`kilnctl start`), and after each for the next"
    )
    parser.add_argument("--model", metavar="FILE", help="the trained model to control with, from `kilnctl fit --save`")
    parser.add_argument(
        "--rig", choices=("virtual", "board", "pins"), help="instead of the rig that the oven's file names"
    )
    parser.add_argument(
        "--speed", type=float, default=1.0, metavar="N", help="of a virtual rig: so many times real time (default: 1)"
    )
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="seed of a virtual rig's noise (default: 0)")
    parser.add_argument("--faults", metavar="FILE", help="faults to inject into a virtual rig (YAML)")
    parser.add_argument(
        "--out", metavar="DIR", default="runs", help="folder below which records are written (default: runs)"
    )
    parser.add_argument(
        "--keep",
        type=float,
        metavar="MB",
        help="remove the oldest other records below --out, whole ones, when all together are larger than this",
    )
    parser.add_argument(
        "--home",
        metavar="DIR",
        help="folder of the service's state and socket (default: the user's, or the service manager's)",
    )
    parser.add_argument(
        "--confirm", action="store_true", help="start although the limits are unlike the last run's, or there was none"
    )
    parser.add_argument(
        "--acknowledge", metavar="NAME", help="who has seen to the last run's trip, once its cause is gone"
    )
    parser.add_argument(
        "--reading-is-right",
        action="store_true",
        help="with --acknowledge: another thermometer shows that the chamber is where the reading says",
    )
    parser.add_argument(
        "--anew", action="store_true", help="forget a run that was cut off, and start from the beginning"
    )
    parser.add_argument(
        "--attended",
        action="store_true",
        help="a person stays beside the oven; needed with hardware that cannot let go by itself",
    )
    parser.add_argument("--quiet", action="store_true", help="say only what matters")


def run(args: argparse.Namespace) -> int:
    from .. import load_oven, load_schedule
    from ..run.prepare import load_of
    from ..service.session import prepare

    oven = load_oven(args.oven)
    chosen(args, oven)
    if bool(args.schedule) == args.idle:
        raise KilnctlError("give a schedule file, or --idle to wait for one")
    schedule = load_schedule(args.schedule) if args.schedule else None
    if args.rig:
        oven = dataclasses.replace(oven, rig=dataclasses.replace(oven.rig, kind=args.rig))
    order = prepare(oven, schedule, args.model) if schedule is not None else None
    outcome, _ = served(args, oven, load_of(oven, schedule), order)
    return (
        {"finished": 0, "stopped": 130, "tripped": 1, "lost": 1}.get(outcome, 1)
        if not args.idle
        else (1 if outcome == "lost" else 0)
    )


def served(args: argparse.Namespace, oven, load, order, start_with=None) -> tuple[str, Path | None]:
    """The service until its end: how it ended, and the last run's folder. Raises KilnctlError when the start is refused."""
    from ..service import operating_system
    from ..service.loop import Service

    _keep_bytes(args.keep)
    home, socket = operating_system.places(oven.name, args.home)
    rig, pace = _hardware(args, oven, load)
    with contextlib.ExitStack() as stack:
        stack.callback(rig.close)
        service = Service(
            oven,
            rig,
            pace,
            home=home,
            socket=socket,
            out=Path(args.out),
            idle=args.idle,
            model_file=args.model,
            keep_bytes=_keep_bytes(args.keep),
            tell=_Teller(args.quiet, args.shown),
        )
        for words in _host_wishes(oven):
            service.tell(f"note: {words}")
        for words in rig.facts.unproved:
            service.tell(f"note: this rig cannot tell: {words}")
        start = (start_with or Start)(args, service, order)
        if not args.quiet:
            print(f"{oven.name} on {rig.facts.name}; the socket is {socket}", flush=True)
        outcome = service.run(before=start)
        if start.refused:
            raise KilnctlError(start.refused)
        if service.folder is not None and not args.idle:
            _close(service, outcome, args.shown)
        return outcome, service.folder


def _keep_bytes(megabytes: float | None) -> int | None:
    """Raises KilnctlError for what is no size."""
    if megabytes is None:
        return None
    if not (math.isfinite(megabytes) and megabytes >= 0.0):
        raise KilnctlError(
            f"--keep {megabytes:g}: a number of megabytes from 0, for example --keep 4000; leave it out to keep all records"
        )
    return int(megabytes * 1e6)


def _hardware(args, oven, load):
    from ..rig import VirtualRig, open_rig
    from ..service.pace import RealPace, SimulatedPace

    if oven.rig.kind != "virtual":
        if args.speed != 1.0 or args.faults:
            raise KilnctlError("--speed and --faults are for a virtual rig (--rig virtual)")
        rig = open_rig(oven)
        if not rig.facts.unattended and not args.attended:
            rig.close()
            raise KilnctlError(
                f"{rig.facts.name} goes on with its last command when this computer freezes: it must not heat without a person beside "
                "it. Stay and say --attended, or build the pulse-fed timer that SAFETY.md describes"
            )
        return rig, RealPace(oven.control.tick_s)
    if not args.speed >= 1.0:
        raise KilnctlError("--speed: a number from 1")
    faults = ()
    if args.faults:
        from ..plants.injection import load_faults

        faults = load_faults(args.faults)
    rig = VirtualRig(oven, load=load, seed=args.seed, faults=faults)
    tick = oven.control.tick_s
    return rig, RealPace(tick) if args.speed == 1.0 and math.isfinite(args.speed) else SimulatedPace(tick, args.speed)


def _host_wishes(oven) -> list[str]:
    """What the oven's file asks of the operating system; words about what was refused."""
    from ..service import operating_system

    said = []
    if oven.service.lock_memory:
        said.append(operating_system.lock_memory())
    if oven.service.priority:
        said.append(operating_system.real_time(oven.service.priority))
    return [s for s in said if s]


class Start:
    """Once the first readings are in: acknowledge, go on after a power cut, or start. Without --idle a refusal ends the command."""

    def __init__(self, args, service, order):
        self.args, self.service, self.order, self.refused = args, service, order, ""

    def __call__(self, service) -> None:
        from .. import safety
        from ..service.interrupted import judge_resume, unfinished

        if self.args.acknowledge and service.rest.trips:
            standing = service.rest.acknowledge(self.args.acknowledge, self.args.reading_is_right)
            if standing:
                return self._refuse(f"not acknowledged: {service.standing_words(standing)}; see to its cause")
            service.tell(f"acknowledged by {self.args.acknowledge}")
        cut_off = unfinished(service.saved_before)
        if cut_off is not None and not self.args.anew:
            verdict, order = judge_resume(service, cut_off)
            service.tell(f"after a power cut: {verdict.words}")
            if verdict.go and not service.refusal():
                place = {**cut_off["place"], "outage_s": verdict.outage_s}
                return service.begin(
                    order, *service.open_record(order, Path(cut_off["folder"])), place=place, words=verdict.words
                )
            service.house.close_cut_off(cut_off, verdict.words)
            if self.order is not None:
                return self._refuse(f"{verdict.words}\nto start it from the beginning say --anew")
        if self.order is None:
            return None
        refused = service.refusal()
        if refused:
            return self._refuse(
                refused
                + (" Start again with --acknowledge YOUR-NAME once its cause is gone" if service.rest.trips else "")
            )
        order, unlike = service.ordered(self.order), service.unlike()
        service.tell(safety.schedule_trip_words(order.schedule, order.policy.schedule_trip_c))
        if (
            unlike
            and not self.args.confirm
            and not (service.rig.facts.kind == "virtual" and not service.saved_before.get("limits"))
        ):
            return self._refuse(
                "these limits are unlike the last run's:\n  "
                + "\n  ".join(unlike)
                + "\nif that is right, say --confirm"
            )
        for shortfall in order.programme.shortfalls:
            service.tell(f"note: {shortfall.note}")
        return service.begin(order, *service.open_record(order), by="the command line")

    def _refuse(self, words: str) -> None:
        if self.service.idle:
            self.service.tell(words)
        else:
            self.refused = words
            self.service.end("refused")


class _Teller:
    """Lines for the person at the terminal."""

    def __init__(self, quiet: bool, units: Units = Units()):
        self.quiet, self.units = quiet, units

    def __call__(self, text: str) -> None:
        if not self.quiet or text.startswith(("TRIP", "DANGER", "after a power cut", "stopped")):
            print(f"{time.strftime('%H:%M:%S')}  {self.units.words(text)}", file=sys.stderr, flush=True)


def _close(service, outcome: str, u: Units) -> None:
    """The summary and the page of a run that is over; the heat has been off since before this."""
    from ..record.folder import finish
    from ..record.run_record import read_run
    from ..run.summary import as_text, summarise

    record = read_run(service.folder)
    if len(record.time_s):
        summary = summarise(record)
        finish(service.folder, record, summary, u.scale)
        print()
        print(as_text(summary, u.scale))
    for event in (e for e in record.events if e.kind == "danger"):
        print(f"\nDANGER at {clock(event.time_s)}: {u.words(event.text)}.")
    for trip in record.trips:
        print(u.words(f"\nTRIP at {clock(trip.time_s)}: {trip.seen}.\n  {trip.done}\n  Check: {trip.check}."))
    print(f"\n{outcome}; the record lies in {service.folder}/ (open {service.folder}/run.html)")
