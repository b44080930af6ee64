"""The stand-in board before a virtual oven: what is broken there shows as it would on a real board."""

import dataclasses

import pytest

from kilnctl.firmware import logic
from kilnctl.plants.injection import PlantFault
from kilnctl.rig.board_rig import NAMES
from kilnctl.rig.converters import ConverterState, take_conversion
from kilnctl.rig.line import HELLO, FrameClient
from kilnctl.rig.simulated_board import Wires


def seen(oven, wires):
    """What a rig makes of the board's next conversions."""
    board, client = logic.Board(0, 7), FrameClient()
    for _ in range(3):
        wires.sense(board, 0.25)
    answer = None
    for byte in client.frame(HELLO):
        for answered in board.wire[: board.take(byte, 0)]:
            answer = client.take(answered) or answer
    assert answer is not None
    sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
    return {
        name: take_conversion(sensor, ConverterState(), raw, count)
        for name, sensor, (_, count, raw) in zip(NAMES, sensors, answer.raw, strict=True)
    }


@pytest.mark.parametrize("front_end", ["max31855", "max31856"])
@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("thermocouple open", {"max31855": "open", "max31856": "open"}),
        ("thermocouple short to ground", {"max31855": "short-ground", "max31856": "short-supply"}),
        ("front end dead", {"max31855": "no-chip", "max31856": "no-chip"}),
    ],
)
@pytest.mark.parametrize("place", NAMES)
def test_a_broken_circuit_is_its_converters_word_and_the_others_read_on(cabinet, place, kind, words, front_end):
    """The MAX31856 has one bit for any voltage that is too high or too low. The stand-in ended with a traceback."""
    sensors = dataclasses.replace(
        cabinet.sensors, **{name: dataclasses.replace(cabinet.sensors.control, front_end=front_end) for name in NAMES}
    )
    oven = dataclasses.replace(cabinet, sensors=sensors)
    found = seen(oven, Wires(oven, faults=(PlantFault(kind, 0.0, sensor=place),)))
    for name, state in found.items():
        assert state.faults == ((words[front_end],) if name == place else ()), name


@pytest.mark.parametrize(
    ("kind", "closed", "asked", "share"),
    [
        ("", True, 1, 1.0),
        ("", True, 0, 0.0),
        ("relay open", True, 1, 0.0),
        ("element group broken", True, 1, 2.0 / 3.0),
        ("relay shorted", True, 0, 1.0),
        ("relay shorted", False, 0, 0.0),
        ("contactor welded", False, 0, 0.0),
    ],
)
def test_the_current_is_the_one_of_the_broken_oven(cabinet, kind, closed, asked, share):
    """The stand-in measured what was commanded, so that a relay that never conducts was none."""
    wires = Wires(cabinet, faults=(PlantFault(kind, 0.0),) if kind else ())
    board = logic.Board(0, 7)
    for _ in range(8):
        board.contactor, board.relay_bits = closed, asked
        wires.cycle(board)
        wires.sense(board, 0.25)
    wires.cycle(board)
    assert board.current == pytest.approx(100.0 * share * wires.full_a, rel=0.1)
