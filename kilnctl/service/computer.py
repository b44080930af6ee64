"""What this computer must have to run an oven: versions, disk, clock, ports, rights. Looks, and changes nothing."""

import importlib.metadata
import importlib.util
import os
import re
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from ..settings.equipment import Rig
from .operating_system import clock_synchronised

GOOD, LOOK, WRONG = "good", "look", "WRONG"
#: Longest path of a local socket on Linux, bytes (sun_path in unix(7), less its closing zero).
LONGEST_SOCKET_PATH = 107
#: A day of records at one sample a second takes about this much, bytes; less free space is reported.
DAY_BYTES = 50_000_000
#: Least memory of the computer, bytes: the limit in the service's unit and that of the panel's.
LEAST_MEMORY = 400_000_000
#: Extra → a module that it brings, and what works with it alone.
EXTRAS = {
    "panel": ("uvicorn", "the panel"),
    "mqtt": ("paho", "messages to a broker"),
    "sbc": ("gpiod", "this computer's own pins"),
    "cluster": ("distributed", "studies on a cluster"),
    "export": ("pyarrow", "tables in Parquet"),
    "completion": ("shtab", "completion in a shell"),
}


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """`grade`: GOOD, LOOK (it works, but) or WRONG; `remedy`: what to do, empty where there is nothing to do."""

    grade: str
    about: str
    seen: str
    remedy: str = ""


def examine(rig: Rig | None, home: Path, socket: Path, out: str | Path) -> list[Diagnosis]:
    """All findings, in the order in which they matter. `home` and `socket`: the service's; `out`: folder of records."""
    findings = [python(sys.version_info[:3]), *packages(), *extras(rig)]
    findings += [folder("state", home), folder("records", Path(out)), path_of_socket(socket), clock(), memory()]
    if rig is not None and rig.kind == "board":
        findings.append(port(rig.port or ""))
    if rig is not None and rig.kind == "pins":
        findings.append(pins(Path("/dev")))
    return findings


def python(version: tuple[int, ...]) -> Diagnosis:
    words = ".".join(map(str, version))
    if version < (3, 11):
        return Diagnosis(WRONG, "Python", words, "install Python 3.11 or newer")
    return Diagnosis(GOOD, "Python", words)


def packages() -> list[Diagnosis]:
    """What kilnctl declares that it needs, against what is installed."""
    try:
        wishes = [w for w in importlib.metadata.requires("kilnctl") or [] if "extra ==" not in w]
    except importlib.metadata.PackageNotFoundError:
        return [Diagnosis(LOOK, "packages", "kilnctl is not installed, it is run from its source", "pip install -e .")]
    return [f for f in (package(w) for w in wishes) if f is not None]


def package(wish: str) -> Diagnosis | None:
    """One requirement such as `numpy>=1.26`; None for a form that is not ours."""
    said = re.match(r"([\w.-]+?)\s*>=\s*([\w.]+)", wish)
    if said is None:
        return None
    name, least = said[1], said[2]
    try:
        there = importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return Diagnosis(WRONG, name, "is not installed", f"pip install '{name}>={least}'")
    if _numbers(there) < _numbers(least):
        return Diagnosis(
            WRONG, name, f"{there}, and {least} is the oldest that serves", f"pip install -U '{name}>={least}'"
        )
    return Diagnosis(GOOD, name, there)


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(n) for n in re.findall(r"\d+", version.split("+")[0])[:3])


def extras(rig: Rig | None) -> list[Diagnosis]:
    found = []
    for extra, (module, what) in EXTRAS.items():
        if importlib.util.find_spec(module) is not None:
            found.append(Diagnosis(GOOD, f"extra {extra}", f"there: {what}"))
        elif extra == "sbc" and rig is not None and rig.kind == "pins":
            found.append(
                Diagnosis(WRONG, "extra sbc", "missing, and this oven is on pins", "pip install 'kilnctl[sbc]'")
            )
        else:
            found.append(
                Diagnosis(LOOK, f"extra {extra}", f"not there; only for {what}", f"pip install 'kilnctl[{extra}]'")
            )
    return found


def folder(about: str, path: Path) -> Diagnosis:
    """Whether a file can be written there, and the space that is left."""
    there = path
    # Unlike Path.exists it takes a folder that must not be looked into as one that is not there.
    while not os.path.exists(there) and there != there.parent:
        there = there.parent
    try:
        with tempfile.NamedTemporaryFile(dir=there, prefix=".kilnctl-"):
            pass
        free = shutil.disk_usage(there).free
    except OSError as error:
        remedy = f"make it writable for this user: sudo chown {_user()} {there}"
        return Diagnosis(WRONG, f"folder of {about}", f"{there} cannot be written: {error.strerror}", remedy)
    words = f"{path}, {free / 1e9:.1f} GB free"
    if free < DAY_BYTES:
        return Diagnosis(WRONG, f"folder of {about}", words, "make room: a day of records takes about 50 MB")
    return Diagnosis(GOOD, f"folder of {about}", words)


def path_of_socket(path: Path) -> Diagnosis:
    length = len(os.fsencode(path))
    if length > LONGEST_SOCKET_PATH:
        words = f"its path has {length} bytes, and {LONGEST_SOCKET_PATH} is the most that Linux takes"
        return Diagnosis(WRONG, "socket", words, "give the service a --home with a shorter path")
    return Diagnosis(GOOD, "socket", str(path))


def clock() -> Diagnosis:
    """Whether the clock is known to be right: the kernel says that a time service has set it (adjtimex(2))."""
    batteries = sorted(p.name for p in Path("/dev").glob("rtc[0-9]*"))
    battery = "with a battery clock" if batteries else "no battery clock"
    if clock_synchronised():
        return Diagnosis(GOOD, "clock", f"set by a time service; {battery}")
    remedy = "switch on a time service: sudo timedatectl set-ntp true"
    if not batteries:
        remedy += "; or fit a battery clock, or no run goes on after a power cut without the network"
    return Diagnosis(LOOK, "clock", f"no time service has set it; {battery}", remedy)


def memory() -> Diagnosis:
    try:
        kb = int(re.search(r"MemAvailable:\s+(\d+)", Path("/proc/meminfo").read_text())[1])  # type: ignore[index]
    except (OSError, TypeError):
        return Diagnosis(LOOK, "memory", "cannot be told here")
    words = f"{kb / 1e3:.0f} MB free"
    if kb * 1024 < LEAST_MEMORY:
        return Diagnosis(LOOK, "memory", words, "end other programs, or leave the panel to another computer")
    return Diagnosis(GOOD, "memory", words)


def port(path: str) -> Diagnosis:
    """The serial port of an I/O board: there, and this user may use it."""
    if not os.path.exists(path):
        there = (
            sorted(str(p) for p in Path("/dev/serial/by-id").glob("*")) if os.path.isdir("/dev/serial/by-id") else []
        )
        words = f"{path} is not there; ports here: {', '.join(there) or 'none'}"
        return Diagnosis(WRONG, "board's port", words, "plug the board in, and name its port under `rig: port:`")
    if not os.access(path, os.R_OK | os.W_OK):
        words = f"{path} is there, and {_user()} may not use it"
        return Diagnosis(WRONG, "board's port", words, f"sudo usermod -aG dialout {_user()}, then log in again")
    return Diagnosis(GOOD, "board's port", f"{path}; `kilnctl board` asks the board itself")


def pins(devices: Path) -> Diagnosis:
    chips = sorted(devices.glob("gpiochip*"))
    if not chips:
        return Diagnosis(
            WRONG, "pins", "this computer shows no gpiochip", "run it on a computer with pins, or use a board"
        )
    if not any(os.access(c, os.R_OK | os.W_OK) for c in chips):
        return Diagnosis(
            WRONG, "pins", f"{_user()} may not use {chips[0]}", f"sudo usermod -aG gpio {_user()}, then log in again"
        )
    return Diagnosis(GOOD, "pins", ", ".join(c.name for c in chips))


def _user() -> str:
    return os.environ.get("USER") or os.environ.get("LOGNAME") or str(os.getuid())
