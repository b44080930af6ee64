"""The safety chain for the page: each link from the mains to the heat with what is known of it, and one sentence on why
there is no heat. Pure: made from the service's status alone; decides nothing."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from ..settings.oven import Oven


class LinkState(StrEnum):
    """proved: something other than our own command shows that it lets heat pass, or would; open: at rest, as it should
    be; none: this oven has none."""

    PROVED = "proved"
    UNPROVED = "unproved"
    REFUSING = "refusing"
    OPEN = "open"
    NONE = "none"


@dataclass(frozen=True)
class Link:
    """One link. `words`: a sentence of what is known."""

    name: str
    state: LinkState
    words: str


#: Which link a trip belongs to, by how its id begins; the first that fits counts.
TRIPS = {
    "supply": "mains",
    "contactor": "contactor",
    "start-contactor": "contactor",
    "relay": "relay",
    "start-relay": "relay",
    "ventilation": "airflow",
    "sensor": "sensors",
    "limit": "sensors",
    "part": "sensors",
    "cold-junction": "sensors",
    # What the sensor reads cannot be: the heat that was given says so.
    "energy-says": "sensors",
    "falls-when": "sensors",
    "reading-fell": "sensors",
    "board": "board",
    "loop": "board",
    "clock": "board",
}
P, U, R = LinkState.PROVED, LinkState.UNPROVED, LinkState.REFUSING
REST, N = LinkState.OPEN, LinkState.NONE


def links(status: Mapping, oven: Oven, fresh: bool) -> tuple[Link, ...]:
    """The links in their order from the mains to the heat."""
    if not fresh:
        names = ("mains", "limiter", "contactor", "relay", "door", "airflow", "sensors", "board", "permit")
        return tuple(Link(name, U, "the oven's service does not answer") for name in names)
    found = (
        _mains(status),
        _limiter(oven),
        _contactor(status),
        _relay(status),
        _door(status),
        _airflow(status),
        _sensors(status),
        _board(status),
        _permit(status),
    )
    tripped = {_of(str(t.get("fault", ""))): t for t in reversed(status.get("trips") or [])}
    return tuple(
        Link(x.name, R, str(tripped[x.name].get("seen", "")) or x.words) if x.name in tripped else x for x in found
    )


def why(status: Mapping, found: tuple[Link, ...], fresh: bool) -> str:
    """One sentence on why there is no heat; or that there is some."""
    if not fresh:
        return "Nothing is known now: the oven's service does not answer."
    if status.get("danger"):
        return "Heat cannot be cut from here: follow the alarm above."
    trips = status.get("trips") or []
    if trips:
        return f"No heat: {_tidy(trips[0].get('seen'))}; it stays off until the trip is acknowledged."
    if status.get("running"):
        refusing = [x for x in found if x.state is R]
        if refusing:
            return f"No heat: {_tidy(refusing[0].words)}."
        if (status.get("duty") or 0.0) > 0.0:
            return "Heat may flow: nothing in the chain refuses it."
        reason = status.get("reason")
        return f"No heat at this moment: {_tidy(reason)}." if reason else "No heat at this moment: none is asked for."
    if status.get("refusal"):
        return f"No heat: {_tidy(status['refusal'])}."
    if status.get("waiting"):
        return f"No heat yet: {_tidy(status['waiting'])}."
    return "No heat: no run has been started."


def view(status: Mapping, oven: Oven, fresh: bool) -> dict:
    """{links: [{name, state, words}], why} for the page."""
    found = links(status, oven, fresh)
    listed = [{"name": x.name, "state": str(x.state), "words": x.words} for x in found]
    return {"links": listed, "why": why(status, found, fresh)}


def _of(fault: str) -> str:
    """The name of the link that a trip belongs to; the permit's if to none of the hardware."""
    return next((link for begin, link in TRIPS.items() if fault.startswith(begin)), "permit")


def _tidy(words) -> str:
    said = " ".join(str(words or "").split()).rstrip(".").removeprefix("start test: waiting, ")
    return said[:1].lower() + said[1:] if said[1:2].islower() else said


def _mains(status: Mapping) -> Link:
    volts = status.get("supply_v")
    if volts is None:
        return Link("mains", U, "no meter of the supply; it shows only when heat arrives")
    return Link("mains", P if volts > 0.0 else R, f"measured: {volts:.0f} V")


def _limiter(oven: Oven) -> Link:
    setting = oven.limits.limiter_c
    if setting is None:
        return Link("limiter", U, "the description names no independent limiter; use no oven without one")
    return Link("limiter", U, f"set to {setting:.0f} °C; only its own test proves it")


def _contactor(status: Mapping) -> Link:
    told, seen = bool(status.get("contactor")), status.get("contactor_closed")
    if seen is None:
        return Link("contactor", U if told else REST, f"told {'closed' if told else 'open'}; nothing reads it back")
    if told and not seen:
        return Link(
            "contactor", R, "told closed, and reads open: the limiter, the door's contact or the emergency stop"
        )
    if not told:
        return Link("contactor", R if seen else REST, "told open, and reads closed" if seen else "reads open")
    return Link("contactor", P, "reads closed")


def _relay(status: Mapping) -> Link:
    fired, duty = status.get("fired"), status.get("duty") or 0.0
    if fired is None:
        return Link("relay", U if duty > 0.0 else REST, "no current meter: what it does is not seen")
    if fired > 0.0:
        return Link("relay", P, f"current flows {100.0 * fired:.0f} % of the time")
    return Link("relay", U if duty > 0.0 else REST, "no current flows")


def _door(status: Mapping) -> Link:
    door = status.get("door_open")
    if door is None:
        return Link("door", N, "no door switch is wired to this program")
    return Link("door", R, "the door is open") if door else Link("door", P, "its switch says shut")


def _airflow(status: Mapping) -> Link:
    proved = status.get("airflow_proved")
    if proved is None:
        return Link("airflow", N, "no flow switch is wired to this program")
    return Link("airflow", P, "its switch proves the flow") if proved else Link("airflow", REST, "no flow is proved")


def _sensors(status: Mapping) -> Link:
    faults = [f for f in status.get("faults") or [] if not str(f).startswith("board")]
    if status.get("chamber_c") is None or faults:
        return Link("sensors", R, f"the sensors report: {', '.join(map(str, faults)) or 'no reading'}")
    second = status.get("limit_c")
    apart = f"; the second one reads {second:.0f} °C" if second is not None else "; there is no second one"
    return Link(
        "sensors", P if second is not None else U, f"the control sensor reads {status['chamber_c']:.0f} °C{apart}"
    )


def _board(status: Mapping) -> Link:
    faults = [str(f) for f in status.get("faults") or [] if str(f).startswith("board")]
    rig = status.get("rig") or {}
    if faults:
        return Link("board", R, f"the I/O board reports: {', '.join(faults)}")
    unproved = [str(u) for u in rig.get("unproved") or ()]
    if unproved:
        return Link("board", U, f"{rig.get('name', 'this rig')} cannot prove: {'; '.join(unproved)}")
    return Link("board", P, f"{rig.get('name') or 'the board'} answers")


def _permit(status: Mapping) -> Link:
    if not status.get("running"):
        refusal = status.get("refusal")
        return Link("permit", R if refusal else REST, str(refusal) if refusal else "no run asks for heat")
    if (status.get("duty") or 0.0) > 0.0:
        return Link("permit", P, "fresh: the rules let this tick's heat pass")
    return Link("permit", REST, str(status.get("reason") or "no heat is asked for"))
