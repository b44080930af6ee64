"""Answers to the requests that come in over the socket, given by the socket's thread. A request that changes something
is left for the next tick."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..rig import RigLost
from . import forecast
from .socket_messages import request_of

if TYPE_CHECKING:
    from .loop import OvenService
    from .session import Rest

#: The newest rows of the live curve that one answer gives, where the request names no number.
MOST_ROWS = 2000


def answer(service: OvenService, request: dict) -> dict:
    """The answer to a request of `kilnctl.service.socket_messages`."""
    ask, by = request["ask"], request.get("by", "somebody")
    match ask:
        case "status":
            # Newer than the last tick: once there is no run, a stop has cut the heat.
            return {**service.snapshot, "at_rest": service.session is None, "oven_sha256": service.oven.sha256}
        case "curve":
            return _curve(service, request)
        case "ahead":
            return forecast.ahead(service.session)
        case "stop":
            service.stop(f"asked by {by}")
            return {"ok": True, "words": "heat is being cut"}
        case "start":
            return service.starts.ask(request)
        case "prepared":
            return service.starts.answer
        case "acknowledge":
            return _acknowledge(service, by, request.get("reading_is_right", False))
    session = service.session
    if session is None:
        return {"ok": False, "words": "nothing is running"}
    service.ask_of_run(request_of(request), by)
    proving = session.chain.proving
    return {"ok": True, "words": "done once the start test is passed" if proving else "it is done at once"}


def _curve(service: OvenService, request: dict) -> dict:
    curve = service.curve
    first, columns = curve.since(request.get("since", 0), request.get("most", MOST_ROWS))
    return {
        "ok": True,
        "from": first,
        "count": len(curve),
        "thinned": curve.thinned,
        "run": str(service.folder or ""),
        "columns": columns,
        "events": [list(event) for event in curve.events],
        "ledger_j": curve.ledger_j,
    }


def _acknowledge(service: OvenService, by: str, reading_is_right: bool) -> dict:
    if service.session is not None:
        return {"ok": False, "words": "not yet: a run is still being watched", "standing": []}
    standing = service.acknowledge(by, reading_is_right)
    if standing == ("board-fault",):
        # The board clears its latch first; ours is cleared after a reading without that fault.
        try:
            service.rig.clear()
        except RigLost as lost:
            return {"ok": False, "words": str(lost)}
        words = "the I/O board was asked to clear its own fault; ask again in a few seconds"
        return {"ok": False, "again": True, "words": words}
    if standing:
        words = "not yet: " + standing_words(service.rest, standing)
        return {"ok": False, "words": words, "standing": list(standing)}
    service.tell_acknowledged(by)
    return {"ok": True, "words": "acknowledged; a new run may be started"}


def standing_words(rest: Rest, standing: tuple[str, ...]) -> str:
    """Which trips remain, and what a person can do if the chamber temperature before them is unknown."""
    words = ", ".join(standing) + " still stands"
    if rest.unknown and rest.reading is not None:
        words += (
            f". Nobody knows where the chamber was before: if another thermometer shows that it is at "
            f"{rest.reading.chamber_c:.0f} °C, as the reading says, acknowledge with --reading-is-right"
        )
    return words
