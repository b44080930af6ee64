"""The states in which the panel is looked at: what a page hears in each, from a service with a virtual oven."""

import http.client
import json
import time
from collections.abc import Callable
from pathlib import Path

from kilnctl.plants.injection import PlantFault
from kilnctl.rig import VirtualRig
from tests.panel.conftest import Bed

CURE = """schedule: Powder cure, small parts
about: steel parts of two millimetres
steps:
  - {name: heat and cure, to: 160 °C, hold: 20 min, within: 3 K}
  - {name: cool with the door shut, to: 130 °C, let cool: yes}
"""
#: In the order in which one run, and a second one for the trip, come to them; stale and far are made from these.
LIVE = ("idle", "heat-up", "door", "hold", "soak", "cooling", "trip", "danger")
#: Longest wait for a state, s.
PATIENCE_S = 240.0


def heard(port: int) -> dict:
    """One whole event, as a page hears it that has just been opened."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30.0)
    try:
        connection.request("GET", "/api/events", headers={"Host": f"127.0.0.1:{port}"})
        answer = connection.getresponse()
        while True:
            line = answer.readline().decode()
            if line.startswith("data: "):
                return json.loads(line[6:])
    finally:
        connection.close()


def _until(bed: Bed, may: Callable[[dict], bool]) -> dict:
    end = time.monotonic() + PATIENCE_S
    while True:
        said = heard(bed.port)
        if may(said):
            return said
        if time.monotonic() > end:
            raise TimeoutError(str(said["status"])[:400])
        time.sleep(0.3)


def _planned(said: dict) -> bool:
    return said.get("planned") is not None


def _started(bed: Bed, cookie: str) -> None:
    """A start is refused while the service still finishes the run before."""
    end = time.monotonic() + PATIENCE_S
    while (answer := bed.start("cure.yaml", cookie))[0] != 200:
        if time.monotonic() > end:
            raise TimeoutError(str(answer[1])[:400])
        time.sleep(1.0)


def live_states(place: Path, tell: Callable[[str, dict], None]) -> dict[str, dict]:
    """What a page hears in each of LIVE, told one by one; two or three minutes. `place` keeps schedules and runs."""
    bed, found = Bed(place, VirtualRig), {}
    (place / "schedules" / "cure.yaml").write_text(CURE, encoding="utf-8")
    rig = bed.service.rig  # type: ignore[attr-defined] - a service of this process

    def keep(name: str, may: Callable[[dict], bool]) -> None:
        found[name] = _until(bed, may)
        tell(name, found[name])

    def fault(kind: str, for_s: float = float("inf")) -> None:
        rig.plant.inject(PlantFault(kind, rig.plant.time_s, for_s))

    try:
        cookie = bed.unlocked()
        keep("idle", lambda s: s["fresh"] and s["status"].get("chamber_c") is not None)
        _started(bed, cookie)
        keep("heat-up", lambda s: _planned(s) and s["status"]["chamber_c"] > 90.0)
        _until(bed, lambda s: s["status"]["chamber_c"] > 150.0)
        fault("door open", 240.0)
        keep("door", lambda s: (s["door"] or {}).get("open_s", 0.0) > 100.0)
        _until(bed, lambda s: not s["status"].get("door_open"))
        bed.ask("POST", "/api/hold", {}, cookie=cookie)
        keep("hold", lambda s: bool(s["status"].get("held")))
        bed.ask("POST", "/api/proceed", {}, cookie=cookie)
        keep("soak", lambda s: s["status"]["state"] == "soak" and s["milestones"] and s["milestones"][0]["in_s"] < 700)
        keep("cooling", lambda s: s["status"]["state"] == "cooling" and s["status"]["chamber_c"] < 150.0)
        bed.wait_for(lambda s: not s["running"], PATIENCE_S)
        _started(bed, cookie)
        _until(bed, lambda s: s["status"]["duty"] > 0.0 and s["status"]["run_s"] > 300.0)
        fault("thermocouple open", 600.0)
        keep("trip", lambda s: bool(s["status"]["trips"]))
        fault("contactor welded")
        fault("relay shorted")
        keep("danger", lambda s: bool(s["status"].get("danger")))
        return found
    finally:
        bed.close()
