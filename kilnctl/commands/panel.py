"""`kilnctl panel OVEN`: a page for the screen next to the oven, a phone, a desk. Extra `panel`."""

import argparse
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..panel.pin import Keys
from ..service import operating_system
from ..service.socket_server import ask_to_start
from ..settings import load_schedule
from . import _options
from ._shipped import shipped

#: In the demo somebody opens the door, so that one sees what that does: while the first cure heats up, and once more
#: for a cure that was started from the page.
DOOR = """about: somebody looks in
faults:
  - {kind: door open, at: 36 min, for: 3 min}
  - {kind: door open, at: 62 min, for: 3 min}
"""
#: A price that is only an example.
DEMO_PRICE = "0.30 EUR/kWh"
#: A small computer that is busy needs more than a minute to start the demo's oven.
START_S = 300.0


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", nargs="?", help="oven file (YAML)")
    parser.add_argument(
        "--demo", action="store_true", help="with a virtual oven at speed behind it; nothing else is needed"
    )
    parser.add_argument(
        "--speed",
        type=_options.number,
        default=30.0,
        metavar="N",
        help="of the demo's oven: so many times real time (default: 30)",
    )
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")
    parser.add_argument(
        "--schedules",
        metavar="DIR",
        help="folder of schedules to choose from (default: 'schedules' next to the oven's folder, else the oven's own "
        "folder)",
    )
    parser.add_argument("--runs", metavar="DIR", default="runs", help="folder of records (default: runs)")
    parser.add_argument("--model", metavar="FILE", help="the trained model that runs are started with")
    parser.add_argument(
        "--bind",
        metavar="ADDRESS",
        default="127.0.0.1",
        help="address to listen at (default: 127.0.0.1, this computer only)",
    )
    parser.add_argument("--port", type=int, default=8484, metavar="N", help="port (default: 8484)")
    parser.add_argument(
        "--stop-port",
        type=int,
        metavar="N",
        help="port of Stop alone, which nothing else can fill (default: the one after --port)",
    )
    parser.add_argument(
        "--host",
        action="append",
        default=[],
        metavar="NAME",
        help="a name or address by which others may call it, such as oven.lan, or https://oven.lan behind a proxy that "
        "ends TLS; may be repeated",
    )
    parser.add_argument(
        "--price", metavar="PRICE", help="price of energy, for example '0.30 EUR/kWh': the page then says money too"
    )
    parser.add_argument("--new-pin", action="store_true", help="make a new PIN, say it, and end")
    parser.add_argument(
        "--arm",
        metavar="SCHEDULE",
        help="allow one start of that schedule (a file) from elsewhere within five minutes, and end",
    )
    parser.add_argument("--quiet", action="store_true", help="say only what matters")


def run(args: argparse.Namespace) -> int:
    try:
        import starlette  # noqa: PLC0415 - of the extra, which need not be there
        import uvicorn  # noqa: F401, PLC0415 - of the extra, which need not be there

        if tuple(int(n) for n in starlette.__version__.split(".")[:3]) < (1, 0, 1):
            raise KilnctlError(
                f"starlette {starlette.__version__} has a known fault with crafted host names; install at least 1.0.1"
            )
    except ImportError:
        raise KilnctlError("the panel needs the extra 'panel': pip install 'kilnctl[panel]'") from None
    if bool(args.oven) == args.demo and not (args.demo and args.oven):
        raise KilnctlError("give an oven file, or --demo")
    if args.stop_port is None:
        args.stop_port = args.port + 1
    if not 1 <= args.port <= 65535:
        raise KilnctlError("--port: from 1 to 65535")
    if not 1 <= args.stop_port <= 65535 or args.stop_port == args.port:
        raise KilnctlError("--stop-port: from 1 to 65535, and not the panel's own")
    if args.demo:
        return _demo(args)
    oven = load_oven(args.oven)
    home, socket = operating_system.places(oven.name, args.home)
    keys = Keys(home / "panel")
    if args.new_pin:
        print(f"the PIN is now {keys.make_pin()}; it is kept as a hash only, so note it")
        return 0
    if args.arm:
        allowed = load_schedule(args.arm)
        keys.arm(allowed.sha256, allowed.name)
        print(f"one start of {allowed.name} from elsewhere is allowed for five minutes, with the PIN and the door shut")
        return 0
    if not keys.has_pin:
        print(
            f"a PIN was made: {keys.make_pin()}  (all that can heat asks for it; stop never does. "
            "`--new-pin` makes another)"
        )
    return _serve(
        args,
        oven,
        socket,
        home / "panel",
        Path(args.schedules) if args.schedules else schedules_beside(args.oven),
        Path(args.runs),
    )


def schedules_beside(oven_file: str) -> Path:
    folder = Path(oven_file).resolve().parent
    beside = folder.parent / "schedules"
    return beside if beside.is_dir() else folder


def _serve(args, oven, socket: Path, folder: Path, schedules: Path, runs: Path, demo_pin: str = "") -> int:
    # `run` has seen that the extra is there.
    from ._panel_server import serve  # noqa: PLC0415 - takes the extra

    return serve(args, oven, socket, folder, schedules, runs, demo_pin)


def _demo(args) -> int:
    """An idle service with a virtual oven, a first cure started on it, and the panel for both."""
    oven_file = Path(args.oven) if args.oven else shipped("configs") / "ovens" / "curing-cabinet.yaml"
    oven = load_oven(oven_file)
    schedules = Path(args.schedules) if args.schedules else schedules_beside(str(oven_file))
    with tempfile.TemporaryDirectory(prefix="kilnctl-demo-") as place:
        folder = Path(place)
        home, socket = operating_system.places(oven.name, place)
        (folder / "schedules").mkdir()
        for path in sorted(schedules.glob("*.yaml")):
            (folder / "schedules" / path.name).write_bytes(path.read_bytes())
        (folder / "door.yaml").write_text(DOOR, encoding="utf-8")
        service = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "kilnctl",
                "run",
                str(oven_file),
                "--idle",
                "--rig",
                "virtual",
                "--speed",
                str(args.speed),
                "--home",
                place,
                "--out",
                str(folder / "runs"),
                "--faults",
                str(folder / "door.yaml"),
                "--quiet",
            ]
        )
        try:
            _wait_for(service, socket)
            _first_run(socket, folder / "schedules")
            pin = Keys(home / "panel").make_pin()
            print(
                f"a demo: a virtual oven at {args.speed:g} times real time; nothing is heated. The PIN is {pin}",
                flush=True,
            )
            args.model, args.price = None, args.price or DEMO_PRICE
            return _serve(args, oven, socket, home / "panel", folder / "schedules", folder / "runs", pin)
        finally:
            service.send_signal(signal.SIGTERM)
            try:
                service.wait(10.0)
            except subprocess.TimeoutExpired:
                service.kill()
                service.wait()


def _wait_for(service, socket: Path) -> None:
    until = time.monotonic() + START_S
    while not socket.exists():
        if service.poll() is not None or time.monotonic() > until:
            raise KilnctlError("the demo's oven did not start")
        time.sleep(0.05)


def _first_run(socket: Path, schedules: Path) -> None:
    """Start a run to look at: the powder cure, where there is one."""
    first = schedules / "powder-cure.yaml"
    if first.is_file():
        ask_to_start(socket, {"ask": "start", "schedule": str(first), "by": "the demo", "confirm": True})
