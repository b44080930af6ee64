"""What the board says: every field as the board itself puts it, and what flowed between two answers."""

import dataclasses

import pytest

from kilnctl.firmware import frames, logic
from kilnctl.rig.answers import FAULTS, REFUSALS, Answer, flow_between, parse_answer
from kilnctl.rig.line import HELLO, FrameClient

SIX = (bytes((25, 0, 6, 64, 0, 0)), bytes((26, 0, 7, 64, 0, 0)))


def board() -> logic.Board:
    """One whose numbers all differ."""
    made = logic.Board(0, 0x1234, 7, 2, 60)
    made.supply, made.current, made.contactor_closed, made.door_open, made.airflow = 2305, 1307, True, False, True
    made.channels[0].take_31856(SIX[0])
    made.channels[1].take_31855(0x0640, 0x1900)
    made.channels[2].take_31856(SIX[1])
    for ms in (20, 40, 60):
        made.cycle(ms)
    made.fired, made.ceiling, made.duty, made.shortest = 70001, 285, 2500, 9
    made.flow, made.flowing, made.receiver.bad = 99999, 66, 4
    return made


def payload(made: logic.Board) -> bytearray:
    receiver = frames.Receiver(frames.ANSWER)
    for byte in FrameClient().frame(HELLO):
        for answered in made.wire[: made.take(byte, 70)]:
            if receiver.take(answered):
                return bytearray(receiver.payload)
    raise AssertionError("it did not answer")


@pytest.fixture
def answer() -> Answer:
    found = parse_answer(payload(board()))
    assert found is not None
    return found


def test_every_number_is_the_boards(answer):
    assert dataclasses.asdict(answer) == {
        "kind": frames.HELLO,
        "sequence": answer.sequence,
        "version": frames.VERSION,
        "state": logic.SAFE,
        "faults": 0,
        "inputs": frames.HAS_CONTACTOR | frames.IN_CONTACTOR | frames.HAS_DOOR | frames.HAS_AIRFLOW | frames.IN_AIRFLOW,
        "outputs": 0,
        "reset_cause": 7,
        "refused": logic.OK,
        "boot": 0x1234,
        "uptime_ms": 60,
        "step": 0xFFFF,
        "cycles": 3,
        "fired": 70001,
        "supply_v": 230.5,
        "current_a": 13.07,
        "ceiling_c": 285,
        "duty": 0.25,
        "raw": ((2, 1, SIX[0]), (1, 1, bytes((0x06, 0x40, 0x19, 0, 0, 0))), (2, 1, SIX[1])),
        "bad_frames": 4,
        "flow_a": 999.99,
        "flowing": 66,
        "mains_hz": 60,
        "meters": frames.HAS_SUPPLY | frames.HAS_CURRENT,
    }


@pytest.mark.parametrize(
    ("place", "value", "taken"),
    [
        (frames.A_STATE, logic.FAULT, True),
        (frames.A_STATE, logic.FAULT + 1, False),
        (frames.A_KIND, frames.HELLO, False),
        (frames.A_KIND, 0x80 | 0x7F, False),
    ],
)
def test_what_no_board_of_ours_sends_is_no_answer(place, value, taken):
    changed = payload(board())
    changed[place] = value
    assert (parse_answer(changed) is not None) is taken


@pytest.mark.parametrize(("duty", "taken"), [(10000, True), (10001, False)])
def test_a_duty_above_all_is_no_answer(duty, taken):
    changed = payload(board())
    frames.put16(changed, frames.A_DUTY, duty)
    assert (parse_answer(changed) is not None) is taken


def test_faults_and_refusals_have_their_words(answer):
    both = dataclasses.replace(answer, faults=logic.F_STEP | logic.F_LATE, refused=logic.R_RANGE)
    assert both.fault_words() == (FAULTS[logic.F_STEP], FAULTS[logic.F_LATE])
    assert both.refusal_words("?") == REFUSALS[logic.R_RANGE] and answer.refusal_words("?") == "?"
    assert answer.state_word == "safe" and dataclasses.replace(answer, state=9).state_word == "unknown"


def later(answer: Answer, **more) -> Answer:
    """After 100 more mains cycles at the rated voltage."""
    return dataclasses.replace(answer, **{"cycles": answer.cycles + 100, "supply_v": 230.0, **more})


@pytest.fixture
def kiln(oven):
    """Of 230 V and three relays."""
    made = oven("brick-kiln")
    return dataclasses.replace(
        made,
        supply=dataclasses.replace(made.supply, voltage_v=230.0),
        switching=dataclasses.replace(made.switching, relays=3),
    )


def full_a(kiln) -> float:
    return kiln.elements.power_w / 230.0


def test_what_flowed_is_a_share_of_the_full_current(answer, kiln):
    """40 of 100 cycles with three quarters of the current; the board gave 100 relay cycles out."""
    relays = kiln.switching.relays
    after = later(
        answer,
        flow_a=answer.flow_a + 40.0 * 0.75 * full_a(kiln),
        flowing=answer.flowing + 40,
        fired=answer.fired + 20 * relays,
    )
    flow = flow_between(answer, after, kiln)
    assert flow is not None and flow.fired == pytest.approx(0.3) and flow.commanded == pytest.approx(0.2)
    assert flow.current_a == pytest.approx(0.75 * full_a(kiln))
    assert flow.mean_current_a == pytest.approx(0.3 * full_a(kiln))


def test_counters_come_round_at_thirty_bits(answer, kiln):
    before = dataclasses.replace(
        answer,
        cycles=(1 << 30) - 50,
        fired=(1 << 30) - 10,
        flowing=(1 << 30) - 1,
        flow_a=((1 << 30) - 1) / 100.0,
    )
    flow = flow_between(
        before, later(answer, cycles=50, fired=10, flowing=19, flow_a=(2000.0 * full_a(kiln) // 1) / 100.0), kiln
    )
    assert flow is not None and flow.fired == pytest.approx(0.2, abs=0.01)
    assert flow.current_a == pytest.approx(full_a(kiln), rel=0.01)
    assert flow.commanded == pytest.approx(20.0 / 100.0 / kiln.switching.relays)


@pytest.mark.parametrize(
    ("volts", "meters", "fired"),
    [
        (115.0, frames.HAS_SUPPLY, 0.5),
        (115.0, 0, 0.25),
        (69.1, frames.HAS_SUPPLY, 0.25 * 230.0 / 69.1),
        (69.0, frames.HAS_SUPPLY, 0.25),
    ],
)
def test_the_full_current_goes_with_the_supply_where_it_is_measured(answer, kiln, volts, meters, fired):
    """Not below 30 % of the rated voltage: there the voltmeter is not wired, or the supply is off."""
    flow_a = answer.flow_a + 25.0 * full_a(kiln)
    flow = flow_between(answer, later(answer, flow_a=flow_a, flowing=200, supply_v=volts, meters=meters), kiln)
    assert flow is not None and flow.fired == pytest.approx(fired)


def test_no_share_is_above_all_and_without_a_cycle_nothing_is_known(answer, kiln):
    more = later(answer, flow_a=answer.flow_a + 9e4, flowing=answer.flowing, fired=answer.fired + 1000)
    flow = flow_between(answer, more, kiln)
    assert flow is not None and flow.fired == flow.commanded == 1.0 and flow.current_a == 0.0
    assert flow_between(answer, answer, kiln) is None
