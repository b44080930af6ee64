"""The board's own rules: the same cases on CPython and on real MicroPython; its cycles against the host's; both ends
under random bytes."""

import importlib.util
import random
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.firing import Pattern, fire, ready
from kilnctl.firmware import frames, logic
from kilnctl.rig.answers import parse_answer

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
FIRMWARE = ROOT / "kilnctl" / "firmware"
_spec = importlib.util.spec_from_file_location("board_rules_cases", HERE / "board_rules_cases.py")
assert _spec is not None and _spec.loader is not None
rules = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(rules)


@pytest.mark.parametrize("name", rules.cases())
def test_on_cpython(name):
    assert getattr(rules, name)() is None, "its own assertions speak"


def test_on_micropython():
    own = ROOT / ".venv" / "micropython" / "run"
    found = shutil.which("micropython") or (str(own) if own.exists() else None)
    if found is None:
        pytest.skip("MicroPython is not installed (tools/lib/micropython brings it)")
    done = subprocess.run(
        [found, str(HERE / "board_rules_cases.py"), str(FIRMWARE)], capture_output=True, text=True, timeout=100
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert [line.split()[1] for line in done.stdout.splitlines()] == rules.cases()


@pytest.mark.parametrize(("shortest", "groups"), [(1, 1), (7, 1), (50, 1), (1, 2), (10, 3)])
def test_the_board_fires_the_cycles_that_the_computer_would(shortest, groups):
    """`kilnctl.firing` plans the same rule in floating point; the board works it out cycle by cycle in whole
    numbers."""
    generator = random.Random(shortest * 10 + groups)
    bench = rules.Bench(relays=groups, shortest=shortest, groups=groups)
    pattern = Pattern(50.0, shortest, groups)
    bench.run(400, duty=0)
    state = ready(pattern)
    for _ in range(40):
        duty = generator.randrange(1, 100) * 100
        state, burst = fire(pattern, state, duty / 10000, 1.0)
        out = bench.run(1000, duty=duty)
        counts = tuple(sum((bits >> g) & 1 for _, bits in out) for g in range(groups))
        assert counts == burst.on_cycles, duty
        first = []
        for _, bits in out:
            if not first or first[-1][0] != bool(bits & 1):
                first.append([bool(bits & 1), 0])
            first[-1][1] += 1
        assert tuple((on, n) for on, n in first) == burst.runs


@given(st.lists(st.binary(max_size=120), max_size=8), st.booleans())
def test_random_bytes_never_heat_and_never_keep_heat(pieces, armed):
    """The same holds for a board that heats: it treats noise on the line as silence."""
    bench = rules.Bench()
    if armed:
        bench.run(300)
        assert bench.board.contactor
    else:
        bench.ask(frames.REST)
        bench.run(40, beats=False)
    quiet_since = bench.now
    for piece in pieces:
        for byte in piece + b"\0":
            assert not bench.board.take(byte, bench.now)
    bench.run(600, beats=False)
    assert bench.now - quiet_since == 600 and not bench.board.contactor and bench.board.relay_bits == 0
    assert bench.board.state == (logic.FAULT if armed else logic.SAFE)
    assert bench.board.faults == (logic.F_HEARTBEAT if armed else 0)


def step_of(bench):
    """The control step that the board knows."""
    bench.ask(frames.HELLO)
    return frames.get16(bench.answer, frames.A_STEP)


@given(
    st.integers(0, frames.REQUEST - 1),
    st.binary(min_size=frames.REQUEST, max_size=frames.REQUEST),
    st.integers(1, 255),
    st.integers(0, 40),
)
def test_a_damaged_frame_changes_nothing(place, payload, flip, where):
    """No request is accepted with bytes changed on the wire within three bytes (24 bits, which the checksum always
    detects)."""
    bench = rules.Bench()
    p, wire = bytearray(payload) + bytearray(frames.CRC), bytearray(60)
    n = frames.seal(p, frames.REQUEST, wire)
    damaged = bytearray(wire[:n])
    damaged[where % (n - 1)] ^= flip
    before = (bench.board.state, bench.board.duty, bench.board.ceiling, step_of(bench))
    assert not any(bench.board.take(byte, bench.now) for byte in damaged)
    assert (bench.board.state, bench.board.duty, bench.board.ceiling, step_of(bench)) == before


def test_a_tenth_of_ten_thousand_frames_half_of_them_damaged():
    """`tools/trials/board` sends the whole number over a pseudo-terminal. An armed board must not answer a damaged
    frame, and must answer every good one."""
    generator = random.Random(1)
    bench = rules.Bench()
    p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(60)
    for k in range(1000):
        p[:] = bytes(len(p))
        bench.seq = (bench.seq + 1) & 0xFF
        p[0], p[1], p[6] = frames.BEAT, bench.seq, 1
        frames.put16(p, 2, 1 + k)
        frames.put16(p, 4, 100)
        good = bytes(wire[: frames.seal(p, frames.REQUEST, wire)])
        if k % 2:
            bad = bytearray(good[:-1])
            match generator.randrange(4):
                case 0:
                    bad[generator.randrange(len(bad))] ^= 1 << generator.randrange(8)
                case 1:
                    del bad[generator.randrange(len(bad)) :]
                case 2:
                    bad = bytearray(generator.randbytes(generator.randrange(1, 40)))
                case 3:
                    bad[generator.randrange(len(bad))] = generator.randrange(256) or 1
            if bytes(bad) + b"\0" == good:
                continue
            step = step_of(bench)
            assert not any(bench.board.take(b, bench.now) for b in bytes(bad) + b"\0") and step_of(bench) == step
        else:
            assert sum(bool(bench.board.take(b, bench.now)) for b in good) == 1 and step_of(bench) == 1 + k
        bench.now += 20
        if k % 5 == 0:
            bench.board.channels[0].take_31856(bench.control)
        bench.board.contactor_closed = bench.board.contactor
        bench.board.cycle(bench.now)
        assert bench.board.state == logic.ARMED and bench.board.duty == 100


@given(st.binary(max_size=300))
def test_the_computers_end_takes_any_bytes(data):
    receiver = frames.Receiver(frames.ANSWER)
    for byte in data + b"\0":
        if receiver.take(byte):
            answer = parse_answer(receiver.payload)
            assert answer is None or answer.kind in frames.KINDS
    # And the next whole answer is accepted.
    bench = rules.Bench(arm=False)
    assert bench.ask(frames.HELLO) == logic.OK
    heard = [receiver.take(byte) for byte in bench.board.wire[: bench.board.wire.index(0) + 1]]
    answer = parse_answer(receiver.payload)
    assert heard[-1] and answer is not None and answer.boot == 7
