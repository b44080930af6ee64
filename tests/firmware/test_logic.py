"""What each request does in each state of the board, and each of its times from both sides, to the millisecond."""

import pytest

from kilnctl.firmware import chips, frames, logic
from kilnctl.rig.line import FrameClient, setup
from tests.firmware.board_rules_cases import Bench, six

SETTINGS = {"step": 50, "duty": 300, "spare": 1, "value": 1}


def moved(bench: Bench, ms: int, beats: bool = False, sees: bool = False, steps: bool = True) -> logic.Board:
    """So many ms later, with a cycle at least every 200 ms and the last one exactly then."""
    end = bench.now + ms
    while bench.now < end:
        bench.now = min(end, bench.now + 200)
        if sees:
            bench.board.channels[0].take_31856(six(100))
        if beats:
            bench.step += steps
            bench.ask(frames.BEAT, bench.step, 5000, frames.CONTACTOR)
        bench.board.contactor_closed = bench.board.contactor if bench.closed is None else bench.closed
        bench.board.cycle(bench.now)
    return bench.board


def faulty() -> Bench:
    """One that heated until nobody spoke to it any more."""
    bench = Bench()
    bench.run(400)
    assert bench.board.contactor and bench.board.relay_bits
    moved(bench, 1000, sees=True)
    assert bench.board.faults == logic.F_HEARTBEAT and bench.board.state == logic.FAULT
    return bench


# ---- requests ----


def test_rest_and_hello_clear_no_fault_and_a_clear_does():
    bench = faulty()
    for kind in (frames.REST, frames.HELLO, frames.BEAT, frames.ARM, frames.SETUP):
        bench.ask(kind, **SETTINGS)
        assert bench.board.faults == logic.F_HEARTBEAT and bench.board.state == logic.FAULT, kind
        assert frames.get16(bench.answer, frames.A_FAULTS) == logic.F_HEARTBEAT
        assert frames.get16(bench.answer, frames.A_DUTY) == 0 == bench.answer[frames.A_OUTPUTS]
    assert bench.ask(frames.ARM) == logic.R_FAULT
    assert bench.ask(frames.CLEAR) == logic.OK and bench.board.faults == 0 and bench.board.state == logic.SAFE
    assert bench.ask(frames.ARM) == logic.OK
    assert not any(contactor or bits for contactor, bits in bench.run(400, beats=False)), "until it is asked again"


def test_an_armed_board_takes_beats_and_rest_only():
    bench = Bench()
    for kind in (frames.ARM, frames.SETUP, frames.CLEAR):
        assert bench.ask(kind, **SETTINGS) == logic.R_ARMED
    assert bench.ask(frames.HELLO) == logic.OK and bench.board.state == logic.ARMED
    assert bench.ask(frames.REST) == logic.OK and bench.board.state == logic.SAFE
    assert bench.ask(frames.REST) == logic.OK == bench.ask(frames.HELLO)


def test_nothing_arms_before_the_first_cycle_or_without_a_ceiling():
    bench = Bench(arm=False)
    assert bench.ask(frames.ARM) == logic.R_NOT_SET
    fresh = Bench(arm=False)
    fresh.board = logic.Board(fresh.now, 7)
    assert fresh.ask(frames.SETUP, **SETTINGS) == logic.OK and fresh.ask(frames.ARM) == logic.R_NOT_SAFE
    assert fresh.ask(frames.CLEAR) == logic.R_CAUSE and fresh.board.state == logic.START


def test_arming_alone_moves_nothing():
    """Nor with what was asked before: a new run begins with steps of its own."""
    assert not any(contactor or bits for contactor, bits in Bench().run(400, beats=False))
    bench = Bench()
    bench.run(1000)
    assert bench.board.contactor and bench.board.relay_bits
    bench.ask(frames.REST)
    assert bench.board.relay_bits == 0 == bench.board.duty
    bench.run(40, beats=False)
    assert not bench.board.contactor
    bench.ask(frames.ARM)
    assert not any(contactor or bits for contactor, bits in bench.run(400, beats=False))
    bench.step = 0
    bench.run(400)
    assert bench.board.contactor and bench.board.state == logic.ARMED


def test_a_beat_before_arming_or_out_of_range_is_refused():
    bench = Bench(arm=False)
    assert bench.ask(frames.BEAT, 1, 5000, frames.CONTACTOR) == logic.R_NOT_SAFE
    bench = Bench()
    for duty, flags, why in ((10001, 1, logic.R_RANGE), (10000, 2, logic.R_RANGE), (10000, 1, logic.OK)):
        assert bench.ask(frames.BEAT, 1, duty, flags) == why
    assert bench.board.duty == 10000


def test_within_a_step_only_less_is_allowed():
    bench = Bench()
    bench.ask(frames.BEAT, 1, 5000, frames.CONTACTOR)
    for duty, flags, left, wanted in ((6000, 1, 5000, True), (4000, 1, 4000, True), (5000, 0, 4000, False)):
        bench.ask(frames.BEAT, 1, duty, flags)
        assert bench.board.duty == left and bench.run(20, beats=False)[-1][0] is wanted
    bench.ask(frames.BEAT, 1, 4000, frames.CONTACTOR)
    assert not bench.run(20, beats=False)[-1][0], "the contactor does not close again within the step"
    bench.ask(frames.BEAT, 2, 4000, frames.CONTACTOR)
    assert bench.run(20, beats=False)[-1][0]


@pytest.mark.parametrize(
    ("first", "then", "why"),
    [
        (5, 4, logic.R_RANGE),
        (5, 5 + 0x7FFF, logic.OK),
        (5, 5 + 0x8000, logic.R_RANGE),
        (0xFFFF, 0, logic.OK),
        (0x8000, 0x8001, logic.OK),
        (0, 0xFFFF, logic.R_RANGE),
    ],
)
def test_steps_only_go_forward_round_sixteen_bits(first, then, why):
    bench = Bench()
    bench.ask(frames.BEAT, first, 100, frames.CONTACTOR)
    assert bench.ask(frames.BEAT, then, 200, frames.CONTACTOR) == why
    assert bench.board.duty == (200 if why == logic.OK else 100)


def test_a_repeated_request_is_answered_and_not_done_again():
    bench = Bench()
    bench.ask(frames.BEAT, 1, 5000, frames.CONTACTOR)
    bench.seq -= 1
    assert bench.ask(frames.BEAT, 2, 9000, frames.CONTACTOR) == logic.OK
    assert bench.board.duty == 5000 and bench.answer[frames.A_SEQ] == bench.seq


def test_the_first_request_may_have_any_number():
    bench = Bench(arm=False)
    bench.seq = -1
    bench.ask(frames.SETUP, **SETTINGS)
    assert bench.seq == 0 and bench.board.ceiling == 300


def test_what_the_settings_leave_out_of_range_is_refused():
    bench = Bench(arm=False, relays=2)
    for changed, why in (
        ({"duty": 29}, logic.R_RANGE),
        ({"duty": 1401}, logic.R_RANGE),
        ({"spare": 3}, logic.R_RANGE),
        ({"spare": 0}, logic.R_RANGE),
        ({"value": 0}, logic.R_RANGE),
        ({"value": 6001}, logic.R_RANGE),
        ({"duty": 1400, "value": 6000, "spare": 2}, logic.OK),
        ({"duty": 30, "value": 1, "spare": 1}, logic.OK),
    ):
        assert bench.ask(frames.SETUP, **{**SETTINGS, **changed}) == why, changed
    many = Bench(arm=False, relays=8)
    assert many.ask(frames.SETUP, **{**SETTINGS, "spare": 6}) == logic.OK
    assert many.ask(frames.SETUP, **{**SETTINGS, "spare": 7}) == logic.R_RANGE


def test_no_current_is_no_current_whatever_counts_as_one():
    bench = Bench(smallest=0)
    bench.amps = 0
    bench.run(400)
    assert bench.board.flowing == 0
    bench.amps = 1
    bench.run(400)
    assert bench.board.flowing > 0


def test_outputs_are_told_as_they_are():
    bench = Bench(relays=2, groups=2)
    bench.run(1000, duty=10000)
    bench.ask(frames.HELLO)
    assert bench.answer[frames.A_OUTPUTS] == 0x80 | 0b11 and frames.get16(bench.answer, frames.A_DUTY) == 10000
    assert frames.get16(bench.answer, frames.A_STEP) == bench.step and bench.answer[frames.A_STATE] == logic.ARMED
    assert frames.get16(bench.answer, frames.A_SHORTEST) == 1


@pytest.mark.parametrize(
    ("name", "has", "says"),
    [
        ("contactor_closed", frames.HAS_CONTACTOR, frames.IN_CONTACTOR),
        ("door_open", frames.HAS_DOOR, frames.IN_DOOR),
        ("airflow", frames.HAS_AIRFLOW, frames.IN_AIRFLOW),
        ("zero_cross", 0, frames.IN_ZERO_CROSS),
    ],
)
def test_inputs_are_told_as_they_are(name, has, says):
    bench = Bench(arm=False)
    bench.board.contactor_closed = None
    for value, told in ((None, 0), (False, has), (True, has | says)):
        setattr(bench.board, name, value)
        bench.ask(frames.HELLO)
        assert bench.answer[frames.A_INPUTS] == told


# ---- times ----


@pytest.mark.parametrize(("ms", "faults"), [(500, 0), (501, logic.F_HEARTBEAT)])
def test_half_a_second_without_a_request(ms, faults):
    bench = Bench()
    moved(bench, 1000, beats=True, sees=True)
    assert moved(bench, ms, sees=True).faults == faults


@pytest.mark.parametrize(("ms", "faults"), [(2000, 0), (2001, logic.F_STEP)])
def test_two_seconds_without_a_new_step(ms, faults):
    bench = Bench()
    moved(bench, 1000, beats=True, sees=True)
    assert moved(bench, ms, beats=True, sees=True, steps=False).faults == faults


@pytest.mark.parametrize(("ms", "faults"), [(400, 0), (401, logic.F_LATE)])
def test_a_cycle_that_comes_late(ms, faults):
    bench = Bench()
    bench.ask(frames.BEAT, 1, 5000, frames.CONTACTOR)
    bench.board.cycle(bench.now + ms)
    assert bench.board.faults == faults


def test_a_late_cycle_at_rest_and_a_late_first_one_are_no_fault():
    bench = Bench(arm=False)
    bench.board.cycle(bench.now + 5000)
    assert bench.board.faults == 0


@pytest.mark.parametrize(("ms", "heats"), [(1000, True), (1001, False)])
def test_heat_goes_on_for_a_second_without_a_reading(ms, heats):
    bench = Bench()
    moved(bench, 1000, beats=True, sees=True)
    board = moved(bench, ms - 200, beats=True)
    bench.ask(frames.BEAT, bench.step + 1, 10000, frames.CONTACTOR)
    board.cycle(bench.now + 200)
    assert bool(board.relay_bits) is heats and board.contactor and board.faults == 0


@pytest.mark.parametrize(("ms", "faults"), [(15000, 0), (15001, logic.F_BLIND)])
def test_fifteen_seconds_without_a_reading(ms, faults):
    bench = Bench()
    moved(bench, 1000, beats=True, sees=True)
    assert moved(bench, ms, beats=True).faults == faults


@pytest.mark.parametrize(("ms", "faults"), [(1000, 0), (1001, logic.F_WELDED)])
def test_a_contactor_that_stays_closed_for_a_second(ms, faults):
    bench = Bench()
    moved(bench, 1000, beats=True, sees=True)
    bench.closed = True
    bench.ask(frames.REST)
    moved(bench, 20, sees=True)
    assert moved(bench, ms, sees=True).faults == faults
    assert (bench.ask(frames.CLEAR) == logic.R_CAUSE) is bool(faults)


def test_the_relay_waits_a_tenth_of_a_second_for_the_contactor():
    bench = Bench()
    bench.ask(frames.BEAT, 1, 10000, frames.CONTACTOR)
    seen = []
    for ms in (0, 20, 99, 100):
        bench.board.cycle(bench.now + ms)
        seen.append((bench.board.contactor, bench.board.relay_bits))
    assert seen == [(True, 0), (True, 0), (True, 0), (True, 1)]


def test_heat_with_the_contactor_open_waits_for_nothing():
    """The start test fires the relay against the open contactor."""
    bench = Bench()
    bench.ask(frames.BEAT, 1, 10000, 0)
    bench.board.contactor_closed = None
    bench.board.cycle(bench.now + 1)
    assert bench.board.relay_bits == 1 and not bench.board.contactor
    assert bench.board.fired == 0, "a contactor that is not read back is as its coil"


def test_the_relay_is_off_while_the_contactor_opens():
    bench = Bench()
    bench.run(400, duty=10000)
    out = bench.run(400, duty=10000, contactor=False)
    assert not any(contactor for contactor, _ in out)
    assert [bits for _, bits in out] == [0] * 5 + [1] * 15


@pytest.mark.parametrize("shortest", [1, 20])
@pytest.mark.parametrize(("stops", "off"), [("door", 5), ("no duty", 0), ("contactor", 5)])
def test_after_an_interruption_the_groups_begin_anew(stops, off, shortest):
    """What was not given is not made up for, and they take turns as at the start."""
    fresh, bench = (Bench(relays=3, groups=3, shortest=shortest) for _ in range(2))
    first = [bits for _, bits in fresh.run(1000, duty=3700)][5:45]
    assert bench.run(1000, duty=6100)[-1][1]
    bench.board.door_open = stops == "door"
    bench.run(20, duty=0 if stops == "no duty" else 6100)
    bench.board.door_open = False
    again = [bits for _, bits in bench.run(1000, duty=3700, contactor=stops != "contactor")]
    assert again[:off] == [0] * off and again[off : off + 40] == first


# ---- temperatures ----


@pytest.mark.parametrize("place", [0, 1, 2])
def test_three_readings_in_a_row_above_the_ceiling(place):
    bench = Bench(ceiling=150)
    channel = bench.board.channels[place]
    bench.control = bench.limit = None
    for hot in (151, 151, 150, 151, 151):
        bench.board.channels[1 - min(place, 1)].take_31856(six(100))
        channel.take_31856(six(hot))
        bench.run(20)
    assert bench.board.faults == 0
    channel.take_31856(six(151, 1))
    bench.run(20)
    assert bench.board.faults == 0, "a reading with a fault is no temperature"
    channel.take_31856(six(151))
    bench.run(20)
    assert bench.board.faults == logic.F_CEILING
    assert bench.ask(frames.CLEAR) == logic.R_CAUSE


def test_a_reading_counts_once():
    bench = Bench(ceiling=150)
    bench.control, bench.limit = None, six(100)
    bench.board.channels[0].take_31856(six(151))
    bench.run(400)
    assert bench.board.faults == 0


def test_without_a_ceiling_nothing_is_too_hot():
    bench = Bench(arm=False)
    bench.control = six(1300)
    bench.run(1000, beats=False)
    assert bench.board.faults == 0 and all(c.over == 0 for c in bench.board.channels)


@pytest.mark.parametrize(("table_k", "hot"), [(0b010, 1107), (0, 1100), (0b101, 1100)])
def test_a_type_k_reading_of_the_straight_line_is_put_right(table_k, hot):
    """A MAX31855 shows 1100 degC at 1107 (ITS-90); other types have no table."""
    board = Bench(arm=False).board
    for byte in FrameClient().frame(setup(300, groups=1, shortest_run=1, smallest=50, table_k=table_k)):
        board.take(byte, 0)
    board.channels[1].take_31855(1100 * 4 << 2, 25 * 16 << 4)
    assert board.channels[1].hot // 128 == hot and board.channels[1].chip == 1
    assert [channel.type_k for channel in board.channels] == [bool(table_k >> i & 1) for i in range(3)]


def test_only_a_whole_cycle_lets_the_watchdog_be_fed():
    board = logic.Board(0, 7)
    assert not board.feed
    board.cycle(20)
    assert board.feed
    # As main.py does, which feeds at most once for each cycle.
    board.feed = False
    setattr(board, "current", "what no meter gives")  # noqa: B010 - of a wrong type on purpose
    with pytest.raises(TypeError):
        board.cycle(40)
    assert not board.feed, "a cycle that broke off"


def test_a_fresh_board_asks_for_no_contactor_and_no_relay():
    board = logic.Board(0, 7, relays=3)
    assert board.contactor is False and board.relay_bits == 0


def test_a_channel_that_no_converter_has_answered_shows_nothing():
    channel = logic.Thermocouple()
    assert (channel.hot, channel.faults, channel.type_k) == (0, chips.NO_CHIP, True)
    assert (channel.chip, channel.count, channel.fresh, channel.over, bytes(channel.raw)) == (0, 0, False, 0, bytes(6))


def test_a_channel_keeps_what_its_converter_sent():
    channel = logic.Thermocouple()
    channel.take_31855(0x1234, 0x5678)
    assert (channel.chip, bytes(channel.raw), channel.count) == (1, bytes((0x12, 0x34, 0x56, 0x78, 0, 0)), 1)
    channel.take_31856(bytes((1, 2, 3, 4, 5, 0)))
    assert (channel.chip, bytes(channel.raw), channel.count) == (2, bytes((1, 2, 3, 4, 5, 0)), 2)
    channel.count = 255
    channel.take_31855(0, 0)
    assert channel.count == 0 and channel.fresh
    channel.count = 255
    channel.take_31856(bytes(6))
    assert channel.count == 0


def test_nothing_is_made_in_the_cycle_path():
    """A field that is not there from the start would be allocated on the board's heap."""
    fresh = logic.Board(0, 7)
    fields = [set(vars(part)) for part in (fresh, *fresh.channels)]
    board = moved(Bench(), 3000, beats=True, sees=True)
    board.channels[1].take_31855(100 << 4, 0)
    board.cycle(20_000)
    assert [set(vars(part)) for part in (board, *board.channels)] == fields


def test_the_numbers_of_refusals_and_states_are_those_on_the_wire():
    """A program of another version reads them."""
    assert [logic.OK, logic.R_NOT_SAFE, logic.R_NOT_SET, logic.R_FAULT] == [0, 1, 2, 3]
    assert [logic.R_ARMED, logic.R_RANGE, logic.R_CAUSE, logic.R_RAISED] == [4, 5, 6, 7]
    assert [logic.START, logic.SAFE, logic.ARMED, logic.FAULT] == [0, 1, 2, 3]
    faults = [logic.F_HEARTBEAT, logic.F_STEP, logic.F_CEILING, logic.F_BLIND, logic.F_WELDED, logic.F_LATE]
    assert faults == [1, 2, 4, 8, 16, 32]
