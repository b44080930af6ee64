"""The PIN for all that can heat, its throttle, and the arm for a start from elsewhere. What must survive a restart is
kept on the disk.

Throttle: not per address, since addresses cost nothing: FREE_TRIES wrong ones at once, then a wait of 30 s that doubles
up to an hour. That is 34 tries on the first day and 730 in a month: 0.07 % of the 6-digit PINs. The screen at the oven
is counted apart from all others: a stranger cannot lock it.
"""

import hashlib
import hmac
import json
import os
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..errors import KilnctlError
from ..record.durable import write_whole

DIGITS, FREE_TRIES, FIRST_WAIT_S, LONGEST_WAIT_S = 6, 5, 30.0, 3600.0
#: scrypt's cost: 16 MiB and about 50 ms on a small computer.
COST = dict(n=2**14, r=8, p=1, maxmem=64 * 1024 * 1024)
#: A session ends this long after its last request, s, and this long after it began, s; an arm allows one start within
#: this time, s.
SESSION_S, SESSION_MOST_S, ARM_S = 900.0, 8 * 3600.0, 300.0
MOST_SESSIONS = 20
HERE, ELSEWHERE = "tries", "tries-elsewhere"


def wait_s(wrong: int) -> float:
    """Time to wait after this many wrong tries in a row, s."""
    return 0.0 if wrong < FREE_TRIES else min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(wrong - FREE_TRIES, 10))


def _now() -> float:
    """A clock that runs on during suspend and cannot be set; it starts at 0 with the computer, s."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass
class _Session:
    """`until` moves with use, `most` does not; `generation` is the PIN's."""

    until: float
    most: float
    generation: str

    @property
    def end(self) -> float:
        return min(self.until, self.most)


class Keys:
    """PIN, tries and arm in `folder`; sessions in memory. `now` for tests."""

    def __init__(self, folder: Path, now: Callable[[], float] = _now):
        self.folder, self.now = Path(folder), now
        self._sessions: dict[str, _Session] = {}
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise KilnctlError(f"{folder}: the panel's PIN cannot be kept there: {error.strerror}") from None

    # ---- PIN ----

    def make_pin(self, pin: str | None = None) -> str:
        """A new PIN (a random one if None), kept as a hash; ends every session. Raises KilnctlError for one that is no
        PIN."""
        pin = f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}" if pin is None else pin
        if len(pin) != DIGITS or not (pin.isascii() and pin.isdigit()):
            raise KilnctlError(f"the PIN has {DIGITS} digits")
        salt = secrets.token_bytes(16)
        kept = {
            "salt": salt.hex(),
            "hash": hashlib.scrypt(pin.encode(), salt=salt, **COST).hex(),
            "generation": secrets.token_hex(8),
        }
        self._write("pin", kept)
        for tries in (HERE, ELSEWHERE):
            self._write(tries, {"wrong": 0, "until": 0.0})
        return pin

    @property
    def has_pin(self) -> bool:
        return self._read("pin") is not None

    def locked_s(self, here: bool = True) -> float:
        """How long no PIN is tried, s: from the screen at the oven, or from elsewhere."""
        tries = self._read(HERE if here else ELSEWHERE) or {}
        left = float(tries.get("until", 0.0)) - self.now()
        # After a restart of the computer the clock begins at 0, so the whole wait for that many tries begins again.
        return 0.0 if left <= 0.0 else min(left, wait_s(int(tries.get("wrong", 0))))

    def open(self, pin: str, here: bool = True) -> str | None:
        """A session's token for the right PIN, else None. While locked, the PIN is not checked."""
        kept, name = self._read("pin"), HERE if here else ELSEWHERE
        if kept is None or self.locked_s(here) > 0.0:
            return None
        tries = int((self._read(name) or {}).get("wrong", 0)) + 1
        # Counted before the check, so that a power cut in between cannot give a free try.
        self._write(name, {"wrong": tries, "until": self.now() + wait_s(tries)})
        found = hashlib.scrypt(pin.encode("utf-8", "replace")[:64], salt=bytes.fromhex(kept["salt"]), **COST)
        if not hmac.compare_digest(found, bytes.fromhex(kept["hash"])):
            return None
        self._write(name, {"wrong": 0, "until": 0.0})
        self._prune()
        token = secrets.token_urlsafe(32)
        now = self.now()
        self._sessions[_key(token)] = _Session(now + SESSION_S, now + SESSION_MOST_S, _generation(kept))
        return token

    def session(self, token: str | None) -> bool:
        """Whether that token's session is alive; each use extends it, up to its absolute end."""
        self._prune()
        session = self._sessions.get(_key(token or ""))
        if session is None:
            return False
        session.until = self.now() + SESSION_S
        return True

    def left_s(self, token: str | None) -> float:
        """How long that token's session still lasts, s; asking does not extend it."""
        self._prune()
        session = self._sessions.get(_key(token or ""))
        return max(0.0, session.end - self.now()) if session is not None else 0.0

    def close(self, token: str | None) -> None:
        self._sessions.pop(_key(token or ""), None)

    def _prune(self) -> None:
        """Drop sessions that are over, or whose PIN has been replaced, even by another process."""
        now, generation = self.now(), _generation(self._read("pin") or {})
        alive = [(k, s) for k, s in self._sessions.items() if s.end > now and s.generation == generation]
        self._sessions = dict(sorted(alive, key=lambda i: i[1].end)[-MOST_SESSIONS:])

    # ---- arm ----

    def arm(self, sha256: str, name: str) -> None:
        """Allow one start of that schedule from elsewhere within ARM_S; by a person at the oven."""
        self._write("arm", {"until": self.now() + ARM_S, "sha256": sha256, "name": name})

    def armed_s(self) -> float:
        """How long a start from elsewhere is still allowed, s."""
        left = float((self._read("arm") or {}).get("until", 0.0)) - self.now()
        return left if 0.0 < left <= ARM_S else 0.0

    def armed_for(self) -> tuple[str, str]:
        """(sha256, name) of the schedule whose start is allowed; empty texts while none is."""
        arm = self._read("arm") or {}
        return (str(arm.get("sha256", "")), str(arm.get("name", ""))) if self.armed_s() > 0.0 else ("", "")

    def use_arm(self) -> dict | None:
        """Use up the arm, if there is one: it allows one start."""
        arm = self._read("arm") if self.armed_s() > 0.0 else None
        try:
            (self.folder / "arm").unlink()
        except OSError:
            return None
        return arm

    def give_back_arm(self, arm: dict) -> None:
        """Give the arm back, with its old end, because nothing was started."""
        self._write("arm", arm)

    # ---- files ----

    def _read(self, name: str) -> dict | None:
        try:
            found = json.loads((self.folder / name).read_text(encoding="utf-8"))
        except FileNotFoundError:
            return None
        except (OSError, ValueError):
            # A damaged file of tries must not open the lock: it counts as many wrong tries, with the longest wait from
            # now.
            damaged = {"wrong": 12, "until": self.now() + LONGEST_WAIT_S}
            return damaged if name in (HERE, ELSEWHERE) else None
        return found if isinstance(found, dict) else None

    def _write(self, name: str, value: dict) -> None:
        try:
            write_whole(self.folder / name, json.dumps(value).encode())
            os.chmod(self.folder / name, 0o600)
        except OSError as error:
            raise KilnctlError(f"{self.folder / name}: cannot be written: {error.strerror}") from None


def _generation(kept: dict) -> str:
    """Number of the PIN: each new PIN gets another one."""
    return str(kept.get("generation", kept.get("salt", "")))


def _key(token: str) -> str:
    """The stored hash of a token: a memory dump reveals no usable token."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
