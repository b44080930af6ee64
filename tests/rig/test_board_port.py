"""The board as a rig on a pseudo-terminal, in real time: its far end goes; the computer is killed."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.firmware import logic
from kilnctl.rig import RigLost
from kilnctl.rig.board_rig import BoardRig
from kilnctl.rig.line import CLEAR, Line, greet
from tests.rig.board_loop import hold, tick

CABINET = Path(__file__).parents[2] / "configs" / "ovens" / "curing-cabinet.yaml"


def test_on_a_real_port_until_it_is_unplugged(cabinet, new_board):
    process, port = new_board()
    rig = BoardRig(cabinet, port=port)
    try:
        with pytest.raises(KilnctlError, match="another program"):
            Line(port)
        assert hold(time, rig, 0.8).contactor_closed
        # The far end of the pseudo-terminal goes, as with a plug pulled: every method says so, close says nothing.
        process.kill()
        process.wait()
        with pytest.raises(RigLost):
            hold(time, rig, 2.0)
        for call in (rig.read, rig.clear, lambda: rig.contactor(False), lambda: tick(rig, 1, 0.0, False)):
            with pytest.raises(RigLost):
                call()
    finally:
        rig.close()
        rig.close()


HEATS = """
from kilnctl import load_oven
import time
from kilnctl.firing import Burst
from kilnctl.safety import Permit
from kilnctl.rig.board_rig import BoardRig

rig = BoardRig(load_oven({oven!r}), port={port!r})
for k in range(200):
    rig.contactor(True)
    rig.heat(0.5, Burst(50, (25,), (), 0.5), Permit(0.0, 2.0, k))
    time.sleep(0.1)
    print(rig.read().contactor_closed, flush=True)
"""


def test_a_killed_computer_leaves_a_latched_board_that_a_new_start_does_not_clear(cabinet, new_board):
    _, port = new_board()
    program = HEATS.format(oven=str(CABINET), port=port)
    computer = subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, text=True, cwd=CABINET.parents[2]
    )
    assert computer.stdout is not None
    assert any(computer.stdout.readline().strip() == "True" for _ in range(30))
    computer.kill()
    computer.wait()
    computer.stdout.close()
    time.sleep(0.7)
    with pytest.raises(KilnctlError, match=r"nobody spoke to it for 0\.5 s"):
        BoardRig(cabinet, port=port)
    line = Line(port)
    try:
        answer = greet(line)
        assert answer.faults == logic.F_HEARTBEAT and not answer.outputs
        cleared = line.ask(CLEAR)
        assert cleared is not None and cleared.state == logic.SAFE
    finally:
        line.close()
