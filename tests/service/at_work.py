"""A service at work in a thread of its own, and a person before it."""

import contextlib
import threading
import time
from pathlib import Path

from kilnctl.record.durable import load_state
from kilnctl.rig import VirtualRig
from kilnctl.service.loop import OvenService
from kilnctl.service.pace import SimulatedPace
from kilnctl.service.socket_server import ask

CABINET = Path(__file__).resolve().parents[2] / "configs/ovens/curing-cabinet.yaml"


def quickly_learnt(folder: Path) -> Path:
    """The file of a curing cabinet with a shorter learning run: thinner walls, half as many ticks."""
    file, text = folder / "oven.yaml", CABINET.read_text(encoding="utf-8")
    for thick, thin in (("thickness: 80 mm", "thickness: 30 mm"), ("thickness: 60 mm", "thickness: 25 mm")):
        assert thick in text
        text = text.replace(thick, thin)
    file.write_text(text + "\ncontrol: {tick: 2 s}\n", encoding="utf-8")
    return file


def folder_of(service: OvenService) -> Path:
    """The data of its last run's record."""
    assert service.folder is not None
    return service.folder


def kept_in(home: Path) -> dict:
    """The state that a service left in its folder."""
    state = load_state(home / "state")
    assert state is not None
    return state


class Person:
    """`ask("hold", by="me")` goes to the service's socket; `until` polls its state."""

    def __init__(self, service, socket):
        self.service, self.socket = service, socket
        #: How the service ended, once it has.
        self.outcome = ""

    def ask(self, what: str, **more) -> dict:
        return ask(self.socket, {"ask": what, **more})

    def until(self, what, patience_s: float = 60.0) -> dict:
        end = time.monotonic() + patience_s
        while not what(said := self.ask("status")):
            assert time.monotonic() < end, f"never: {said}"
            time.sleep(0.01)
        return said

    def ended(self, patience_s: float = 60.0) -> str:
        """Wait until the service has ended by itself; how it did."""
        end = time.monotonic() + patience_s
        while not self.outcome:
            assert time.monotonic() < end, "the service goes on"
            time.sleep(0.01)
        return self.outcome

    def settled(self, patience_s: float = 60.0) -> dict:
        """The result of the last start."""
        end = time.monotonic() + patience_s
        while (said := self.ask("prepared")).get("pending") and time.monotonic() < end:
            time.sleep(0.01)
        return said

    def start(self, schedule, **more) -> dict:
        """Ask for a start and wait for its result."""
        said = self.ask("start", schedule=str(schedule), confirm=True, **more)
        return self.settled() if said.get("pending") else said


@contextlib.contextmanager
def at_work(oven, folder, *, rig=None, speed=100.0, idle=True, before=None, **more):
    """Yields the Person; the service has ended when this is over."""
    rig = rig or VirtualRig(oven, load=oven.usual_load, seed=2)
    more.setdefault("tell", lambda text: None)
    service = OvenService(
        oven,
        rig,
        SimulatedPace(oven.control.tick_s, speed),
        home=folder / "home",
        socket=folder / "socket",
        out=folder / "runs",
        idle=idle,
        **more,
    )
    person = Person(service, folder / "socket")

    def work():
        person.outcome = service.run(before=before)

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield person
    finally:
        service.end("test over")
        thread.join(30.0)
    assert not thread.is_alive()
