"""The panel's web server and Stop's door, in one process. It takes the extra `panel`."""

import contextlib
import os
import signal
import sys
from pathlib import Path

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from ..errors import KilnctlError
from ..panel.app import PanelApp
from ..panel.catalogue import Catalogue
from ..panel.connections import Counting, Places, Streams, placed
from ..panel.guard import hosts
from ..panel.stop_door import DoorThread, StopDoor, plain_settings
from ..report.run_report import parse_price

#: Addresses that only this computer reaches.
_LOCAL = ("127.0.0.1", "::1", "localhost")


def serve(args, oven, socket: Path, folder: Path, schedules: Path, runs: Path, demo_pin: str = "") -> int:
    """Until SIGINT or SIGTERM; `demo_pin`: of a demo. The oven's service neither starts nor ends with it."""
    if args.bind not in _LOCAL and not args.host:
        raise KilnctlError(
            "--bind opens the panel to others: say by which name or address they call it, with --host NAME"
        )
    if args.own_process:
        _behind_the_service()
    places, allowed = Places(), hosts(args.host, args.port)
    panel = PanelApp(
        socket,
        Catalogue(oven, schedules, runs, args.model, folder.parent, "virtual" if demo_pin else None),
        folder,
        allowed,
        port=args.port,
        stop_port=args.stop_port,
        demo_pin=demo_pin,
        price=parse_price(args.price) if args.price else None,
        streams=Streams(places.end),
        closing=lambda: server.should_exit,
    )
    direct = [name for name in args.host if not name.strip().lower().startswith("https://")]
    door = DoorThread(StopDoor(socket, allowed, hosts(direct, args.stop_port), panel.note), args.bind, args.stop_port)
    server = uvicorn.Server(
        uvicorn.Config(
            Counting(panel.app, places),
            host=args.bind,
            port=args.port,
            http=placed(H11Protocol, places),  # type: ignore[arg-type] - called with keywords, a class or not
            lifespan="on",
            **plain_settings(),
        )
    )
    if not args.quiet:
        _tell_address(args, oven)
    door.start()
    try:
        _until_ended(server, args)
    finally:
        door.close()
    return 0


def _behind_the_service() -> None:
    """Lower this process's priority below the service's; and let Stop's thread wait at most a millisecond for each
    other thread. Both hold for the rest of the process."""
    with contextlib.suppress(OSError):
        os.nice(5)
    sys.setswitchinterval(0.001)


def _until_ended(server, args) -> None:
    def end(number, frame) -> None:
        raise KeyboardInterrupt

    # The server raises its ending signal again, so that processes started for the panel end too.
    before = signal.signal(signal.SIGTERM, end)
    try:
        server.run()
    except SystemExit:
        raise KilnctlError(
            f"port {args.port} cannot be opened at {args.bind}: is another panel running there? (--port)"
        ) from None
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)


def _tell_address(args, oven) -> None:
    print(
        f"the panel of {oven.name} is at http://{'127.0.0.1' if args.bind == '0.0.0.0' else args.bind}:{args.port}/",
        flush=True,
    )
    if args.bind not in _LOCAL:
        print(
            f"note: Stop has port {args.stop_port} for itself; open it too. Plain http: anyone who can listen on this "
            "network can read the PIN",
            flush=True,
        )
