"""What may be said over the oven's local socket: one JSON object a line, each answered by one.

    {"ask": "status"}          → {"ok": true, "state": "running", "chamber_c": 187.2, …}
    {"ask": "curve", "since": 0, "most": 500}
                               → {"ok": true, "from": 0, "count": 500, "columns": {"time_s": […], …}, "run": "…"}
    {"ask": "ahead"}           → what is expected from now on: reference, and chamber by the plan in force
    {"ask": "stop"}            → {"ok": true, "words": "…"}
    {"ask": "start", "schedule": "cure.yaml", "by": "who", "confirm": false}
                               → {"ok": true, "pending": true}
                               "learning": false where the oven's model is to learn nothing from it
                               "sha256", "oven_sha256": of the schedule's file as it was shown, and of the oven's:
                               with another one, or to a service of another one, nothing starts
                               "ready_s", "takes_s": it waits, to be ready at that time of day (seconds of the epoch),
                               and is expected to take so long, s
    {"ask": "prepared"}        → what became of the last start; "pending" until that is known
    {"ask": "hold"}  {"ask": "proceed"}  {"ask": "skip"}  {"ask": "soak", "seconds": 600}
    {"ask": "acknowledge", "by": "who"}
                               "reading_is_right": true where what was believed before a jump or fall is not known

What cannot be done is answered by {"ok": false, "words": "why"}, limits that a person must
confirm also by "confirm": ["…"].
"""

import json
import math

from ..record.folder import plain
from ..terms import Request, RequestKind

#: Longest line that is read as a request, bytes.
LONGEST_LINE = 8192
#: request → the keys that it may carry, with their types.
REQUESTS: dict[str, dict[str, tuple]] = {
    "status": {},
    "curve": {"since": (int,), "most": (int,)},
    "ahead": {},
    "stop": {"by": (str,)},
    "start": {
        "schedule": (str,),
        "model": (str,),
        "by": (str,),
        "confirm": (bool,),
        "learning": (bool,),
        "sha256": (str,),
        "oven_sha256": (str,),
        "ready_s": (int, float),
        "takes_s": (int, float),
    },
    "prepared": {},
    RequestKind.HOLD: {"by": (str,)},
    RequestKind.PROCEED: {"by": (str,)},
    RequestKind.SKIP: {"by": (str,)},
    RequestKind.SOAK: {"seconds": (int, float), "by": (str,)},
    "acknowledge": {"by": (str,), "reading_is_right": (bool,)},
}
_NEEDED = {"start": ("schedule",), "soak": ("seconds",), "acknowledge": ("by",)}
LONGEST_SOAK_S = 86400.0


class BadRequest(Exception):
    """What is wrong with a request, in words for the client."""


def parse(line: bytes) -> dict:
    """The request on that line, checked. Raises BadRequest."""
    if len(line) > LONGEST_LINE:
        raise BadRequest(f"longer than {LONGEST_LINE} bytes")
    try:
        said = json.loads(line.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise BadRequest('not one JSON object on one line, such as {"ask": "status"}') from None
    if not isinstance(said, dict) or not isinstance(said.get("ask"), str) or said["ask"] not in REQUESTS:
        raise BadRequest(f"'ask' should be one of: {', '.join(REQUESTS)}")
    ask, allowed = said["ask"], REQUESTS[said["ask"]]
    for key, value in said.items():
        if key == "ask":
            continue
        if key not in allowed:
            raise BadRequest(f"'{ask}' takes {', '.join(allowed) or 'nothing'}, not '{key}'")
        _check_value(ask, key, value)
    for key in _NEEDED.get(ask, ()):
        if key not in said or (isinstance(said[key], str) and not said[key].strip()):
            raise BadRequest(f"'{ask}' needs '{key}'")
    _check_numbers(ask, said)
    return said


def _check_numbers(ask: str, said: dict) -> None:
    if ask == "soak" and not (
        isinstance(said["seconds"], (int, float))
        and math.isfinite(said["seconds"])
        and 0 < said["seconds"] <= LONGEST_SOAK_S
    ):
        raise BadRequest(f"'seconds' should be above 0 and at most {LONGEST_SOAK_S:.0f}")
    if ask == "start" and ("ready_s" in said) != ("takes_s" in said):
        raise BadRequest("'ready_s' and 'takes_s' go together")
    if not all(math.isfinite(said.get(key, 0)) and 0 <= said.get(key, 0) <= 1e11 for key in ("ready_s", "takes_s")):
        raise BadRequest("'ready_s' and 'takes_s' should be from 0")
    if ask == "curve" and not (0 <= said.get("since", 0) <= 10**9 and 1 <= said.get("most", 1) <= 5000):
        raise BadRequest("'since' should be from 0, 'most' from 1 to 5000")


def _check_value(ask: str, key: str, value) -> None:
    kinds = REQUESTS[ask][key]
    if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
        raise BadRequest(f"'{key}' of '{ask}' is of the wrong kind")
    if isinstance(value, str) and (len(value) > 400 or any(ord(c) < 32 or 0xD800 <= ord(c) < 0xE000 for c in value)):
        raise BadRequest(f"'{key}' is longer than 400 characters or has characters that no name has")


def request_of(said: dict) -> Request:
    """What a checked line asks of a run. Raises ValueError for a line that asks something else."""
    return Request(RequestKind(said["ask"]), float(said.get("seconds", 0.0)))


def _no_constant(name: str):
    raise ValueError(name)


def encode(answer: dict) -> bytes:
    """One line of JSON. NaN and infinity, which JSON lacks, become null."""
    return json.dumps(plain(answer), ensure_ascii=False, allow_nan=False).encode("utf-8") + b"\n"
