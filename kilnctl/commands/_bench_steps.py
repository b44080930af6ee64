"""What the guided test of the I/O board asks, in SAFETY.md's order."""

from dataclasses import dataclass

from ..settings.oven import Oven


@dataclass(frozen=True, slots=True)
class Ask:
    """A question about what the person sees: `good` and `bad` are its answers, `none` is the answer for a part that
    this oven does not have."""

    words: str
    good: str
    bad: str
    none: str = ""


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One step. `duty` and `closed`: the commands to relay and contactor during the question; `kind`: what the program
    itself proves in addition."""

    title: str
    do: str
    asks: tuple[Ask, ...]
    duty: float = 0.0
    closed: bool = False
    kind: str = "outputs"


_TESTER = "Measure with a two-pole tester (it draws current); a voltmeter shows a relay's leakage as if it were mains."
_LAMP = Ask("The test lamp is", "dark", "lit")
#: First question of a step in which a part is operated while the contactor is closed.
IN = Ask("Before you touch it, the contactor is", "in", "out")
_PULLED = Ask("Do it now. The contactor", "dropped", "stayed in")
_OUT = Ask("Now let it go. The contactor", "stays out", "comes back in")
_MISSING = "not there"

OUTPUTS = (
    BenchStep(
        "Relay on, contactor open",
        f"Look: the relay's lamp flickers. {_TESTER} Between the heater's terminals, and from each to earth: nothing.",
        (_LAMP, Ask("The tester shows", "nothing", "voltage")),
        duty=0.5,
    ),
    BenchStep(
        "Relay off, contactor closed",
        f"Listen: the contactor pulls in. {_TESTER} Between the heater's terminals: nothing.",
        (Ask("The contactor", "pulled in", "did nothing"), _LAMP, Ask("The tester shows", "nothing", "voltage")),
        closed=True,
    ),
    BenchStep(
        "Both on, half power",
        "Look: the relay's lamp flickers, and the test lamp with it.",
        (Ask("The test lamp", "flickers", "does not"),),
        duty=0.5,
        closed=True,
    ),
    BenchStep(
        "Both off",
        f"Look and listen. {_TESTER} Between the heater's terminals, and from each to earth: nothing.",
        (Ask("The contactor is", "out", "in"), Ask("The tester shows", "nothing", "voltage")),
    ),
)
_COIL = (
    BenchStep(
        "Emergency stop",
        "Press it. Let it go when you are asked to. Afterwards press start.",
        (IN, _PULLED, _OUT),
        closed=True,
        kind="coil",
    ),
    BenchStep(
        "Limiter",
        "Note its setting, turn it below room temperature. Put it back when you are asked to. Then reset it, press "
        "start.",
        (IN, _PULLED, Ask("Put the setting back. The contactor", "stays out", "comes back in")),
        closed=True,
        kind="coil",
    ),
    BenchStep(
        "Limiter's own sensor",
        "Pull its plug (fit one where it has none, to be able to try this). Afterwards put it back, reset the limiter, "
        "press start.",
        (IN, _PULLED, Ask("Put the sensor back. The contactor", "stays out", "comes back in")),
        closed=True,
        kind="coil",
    ),
    BenchStep(
        "Heat sink's thermostat",
        "Main switch off and locked, proved dead: take one of its wires off. Main switch on; press start.",
        (Ask("The contactor", "stays out", "pulls in", _MISSING),),
        closed=True,
        kind="coil",
    ),
)
_DOOR = BenchStep(
    "Door switch",
    "Open the door. (The board opens the contactor on its copy too: the switch itself was tried with an ohmmeter.)",
    (IN, _PULLED),
    closed=True,
    kind="coil",
)
_AIR = BenchStep(
    "Airflow switch",
    "Stop the extraction's fan, or close its duct.",
    (IN, _PULLED),
    closed=True,
    kind="coil",
)
HANG = BenchStep(
    "The program hangs",
    "Both go on, and this program stops deciding. Within three seconds relay and contactor must go off. Look.",
    (Ask("Relay's lamp and contactor", "went off", "stayed on"),),
    duty=0.5,
    closed=True,
    kind="hang",
)
UNPLUG = BenchStep(
    "The computer is unplugged",
    "Pull the computer's cable out of the board while both are on. Look. Leave it out until you are asked.",
    (Ask("Relay's lamp and contactor", "went off", "stayed on"),),
    duty=0.5,
    closed=True,
    kind="unplug",
)
PULSE = BenchStep(
    "Pulse timer",
    "Pull the pulse wire. Look. When you are asked, tie the wire's end at the timer to the timer's supply.",
    (IN, _PULLED, Ask("Tied to the supply, the contactor", "stays out", "pulls in")),
    closed=True,
    kind="coil",
)


def steps(oven: Oven) -> tuple[BenchStep, ...]:
    """The steps that apply to this oven's wiring, in order."""
    pins = oven.rig.kind == "pins"
    found = [*OUTPUTS, *_COIL]
    if oven.door.switch:
        found.append(_DOOR)
    if oven.vent is not None and oven.vent.proved:
        found.append(_AIR)
    found.append(HANG)
    if not pins:
        found.append(UNPLUG)
    elif oven.rig.pins.pulse is not None:
        found.append(PULSE)
    return tuple(found)
