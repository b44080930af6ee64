"""What the service asks of the operating system: to be the only one for its oven, to run in time, to be watched, and to
know how long it was away."""

import contextlib
import ctypes
import fcntl
import functools
import os
import signal
import socket
import stat
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from queue import SimpleQueue

from ..clock import passed_s
from ..errors import KilnctlError
from ..record.folder import slug

_MCL_CURRENT, _MCL_FUTURE, _MCL_ONFAULT = 1, 2, 4


class Owner:
    """A lock that ends with the process, however it ends: one owner of an oven at a time. Raises KilnctlError where
    another process has it, or its file cannot be written."""

    def __init__(self, path: Path):
        try:
            self._file = open(path, "a+", encoding="utf-8")  # noqa: SIM115 - open as long as the lock is held
        except OSError as error:
            raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._file.seek(0)
            other = self._file.read().strip()
            self._file.close()
            raise KilnctlError(
                f"this oven already runs in another process{f' ({other})' if other else ''}; "
                "`kilnctl status` asks it, `kilnctl stop` stops it"
            ) from None
        self._file.truncate(0)
        self._file.write(f"process {os.getpid()}")
        self._file.flush()
        self._path = path

    def renewed(self) -> str:
        """Take the lock again if its file is gone: otherwise another process could own the oven too. Returns why that
        fails; empty when all is well. Waits for the disk."""
        try:
            held, there = os.fstat(self._file.fileno()), os.stat(self._path)
            if (held.st_dev, held.st_ino) == (there.st_dev, there.st_ino):
                return ""
        except FileNotFoundError:
            pass
        except OSError as error:
            return f"{self._path}: {error.strerror}"
        try:
            again = Owner(self._path)
        except KilnctlError as error:
            return str(error)
        self._file.close()
        self._file = again._file
        return ""

    def release(self) -> None:
        self._file.close()


def lock_memory() -> str:
    """Keep this process's pages in memory once they are touched; locking all at once takes seconds on a small computer.
    Returns why it failed; empty when done."""
    library = ctypes.CDLL(None, use_errno=True)
    if library.mlockall(_MCL_CURRENT | _MCL_FUTURE | _MCL_ONFAULT) == 0:
        return ""
    return (
        f"memory was not locked: {os.strerror(ctypes.get_errno())} (a limit on locked memory: LimitMEMLOCK in the unit)"
    )


def real_time(priority: int) -> str:
    """First-in-first-out scheduling at that priority for this thread, not for the threads and processes that it starts.
    Returns why it failed; empty when done."""
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(priority))
        return ""
    except OSError as error:
        return f"real-time priority {priority} was refused: {error.strerror} (a limit on it: LimitRTPRIO in the unit)"


class Watchdog:
    """Tells the service manager that all is well, by its datagram socket; does nothing where there is none.

    The protocol is the public one of `sd_notify(3)`: NOTIFY_SOCKET names the socket, a message is lines KEY=VALUE."""

    def __init__(self, environment: Mapping[str, str] = os.environ):
        self._path = environment.get("NOTIFY_SOCKET", "")
        self._socket = None
        if self._path.startswith(("/", "@")):
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    def tell(self, message: str) -> None:
        """Never waits, never raises: a service manager that does not listen must not stop a tick."""
        if self._socket is None:
            return
        path = "\0" + self._path[1:] if self._path.startswith("@") else self._path
        with contextlib.suppress(OSError):
            self._socket.sendto(message.encode(), path)

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()


@contextlib.contextmanager
def signals_to(end: Callable[[str], None]) -> Iterator[None]:
    """While this lasts, SIGINT, SIGTERM and SIGHUP (the terminal was closed) call `end` with their name, in a thread of
    its own: a signal handler can interrupt code that holds a lock which `end` needs. Only in the main
    thread; a SIGHUP that is ignored (`nohup`) stays so."""
    previous, came = {}, SimpleQueue()
    if threading.current_thread() is threading.main_thread():
        threading.Thread(target=_pass_on, args=(came, end), name="signals", daemon=True).start()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            if signal.getsignal(number) is not signal.SIG_IGN or number != signal.SIGHUP:
                previous[number] = signal.signal(number, lambda n, _: came.put(signal.Signals(n).name))
    try:
        yield
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)
        came.put("")


def _pass_on(came: SimpleQueue, end: Callable[[str], None]) -> None:
    while name := came.get():
        end(f"signal {name}")


@functools.cache
def _boot_name() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return ""


def boot() -> tuple[str, float]:
    """This boot's identifier, and the seconds since boot, including suspend."""
    return _boot_name(), passed_s()


#: How far the battery clock may be from the wall clock that it set, s.
CLOCKS_APART_S = 30.0
_STA_UNSYNC, _TIME_ERROR = 0x0040, 5


def clock_source(devices: Path = Path("/sys/class/rtc")) -> str:
    """What makes the wall clock right: "network" (the kernel says that it is synchronised), "battery" (a clock with a
    battery set it when the computer started, and agrees with it now), or empty: nothing known. May wait for a slow
    device."""
    if clock_synchronised():
        return "network"
    try:
        for device in sorted(devices.iterdir()):
            if (device / "hctosys").read_text().strip() == "1":
                apart_s = int((device / "since_epoch").read_text()) - time.time()
                return "battery" if abs(apart_s) < CLOCKS_APART_S else ""
    except (OSError, ValueError):
        pass
    return ""


def clock_synchronised() -> bool:
    """Whether a time service has set the wall clock, as the kernel says (adjtimex(2))."""
    # struct timex: modes (padded to a long), four longs, then status (an int); it has 208 bytes at most.
    told = ctypes.create_string_buffer(256)
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(told)
    except (AttributeError, OSError):
        return False
    status = ctypes.c_int.from_buffer(told, 5 * ctypes.sizeof(ctypes.c_long)).value
    return state not in (-1, _TIME_ERROR) and not status & _STA_UNSYNC


def places(oven_name: str, home: str | None = None) -> tuple[Path, Path]:
    """(state folder, socket) of an oven: below `home` where given, else where the service manager says
    (STATE_DIRECTORY, RUNTIME_DIRECTORY), else in the user's own folders."""
    name = slug(oven_name)
    if home is not None:
        return Path(home) / name, Path(home) / name / "socket"
    state = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    if not state:
        state = os.path.join(os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state"), "kilnctl")
    runtime = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    if not runtime and os.environ.get("XDG_RUNTIME_DIR"):
        runtime = os.path.join(os.environ["XDG_RUNTIME_DIR"], "kilnctl")
    folder = Path(state) / name
    return folder, (Path(runtime) / f"{name}.socket") if runtime else folder / "socket"


def is_socket(path: Path) -> bool:
    try:
        return stat.S_ISSOCK(path.stat().st_mode)
    except OSError:
        return False
