"""`main.py` as it runs on the board, in a world of stand-ins (`main_bench`): outputs, watchdog, and what it does at its
end."""

import importlib
import sys
import time
from pathlib import Path

import pytest

import kilnctl.firmware
from kilnctl.firmware import logic
from tests.firmware.main_bench import COIL, CONTACT, DOOR, RELAY, end


def test_it_begins_with_all_outputs_low_and_converters_set_up(bench):
    bench.at(300, end)
    bench.run()
    first = {}
    for _, number, value in bench.history:
        first.setdefault(number, value)
    assert first[RELAY] == 0 and first[COIL] == 0 and bench.modes[COIL][0] == "out"
    assert bench.registers[17] == list(frames_set_up()) and bench.timeout == 1000
    assert bench.modes[CONTACT] == bench.modes[DOOR] == ("in", "up")


def frames_set_up():
    return importlib.import_module("kilnctl.firmware.chips").setup_31856("K", 50)


def test_it_heats_while_it_is_asked_to_and_lets_go_by_itself(bench):
    bench.heat(to_ms=2000)
    bench.at(4000, end)
    bench.run()
    relay = [(us, v) for us, n, v in bench.history if n == RELAY]
    coil = [us for us, n, v in bench.history if n == COIL and v]
    assert any(v for _, v in relay) and coil
    last_us = max(us for us, n, v in bench.history if n in (RELAY, COIL) and v)
    # The last beat came just before 2 s; its lease is 0.5 s.
    assert last_us < 1_000_000 + 2_000_000 + 600_000
    assert logic.ARMED in bench.states()


def test_the_watchdog_is_fed_once_a_cycle(bench):
    bench.at(2000, end)
    bench.run()
    assert len(bench.fed) == pytest.approx(100, abs=3)


@pytest.mark.parametrize(("number", "level"), [(RELAY, 1), (COIL, 1)])
def test_a_watchdog_starves_where_an_output_does_not_follow(bench, number, level):
    """A pin that is short to its supply: the hardware has to restart the board, whose pins are inputs then."""
    bench.at(500, lambda: bench.stuck.update({number: level}))
    bench.at(3000, end)
    bench.run()
    assert bench.fed and max(bench.fed) < 1_000_000 + 550_000


def test_it_starves_where_the_cycle_was_not_whole(bench, monkeypatch):
    real = logic.Board.cycle

    def half(board, now):
        real(board, now)
        board.feed = board.feed and bench.us < 1_500_000

    monkeypatch.setattr(logic.Board, "cycle", half)
    bench.at(3000, end)
    bench.run()
    assert bench.fed and max(bench.fed) < 1_550_000


@pytest.mark.parametrize("broken", [ValueError, MemoryError, KeyboardInterrupt])
def test_everything_is_off_however_it_ends(bench, broken):
    def breaks():
        assert bench.levels[COIL] == 1 and bench.levels[RELAY] == 1, "it heats at this moment"
        raise broken

    bench.heat(to_ms=5000)
    bench.at(2000, breaks)
    with pytest.raises(broken):
        bench.run()
    assert bench.levels[COIL] == 0 and bench.levels[RELAY] == 0
    order = [n for _, n, v in bench.history if v == 0 and n in (COIL, RELAY)]
    assert order[-2:] == [COIL, RELAY], "the coil goes first"


def test_a_converter_that_forgets_its_set_up_gives_no_temperature_and_is_set_up_again(bench):
    def forget():
        bench.registers[17] = [0, 3, 0xFF]
        bench.forgetful.add(17)
        bench.limit = [0, 0, 0, 0]  # the second sensor is gone too: one of them is enough for the board

    bench.heat(to_ms=6000)
    bench.at(1500, forget)
    bench.at(4000, bench.forgetful.clear)
    bench.at(4500, end)
    bench.run()
    hot = [us for us, n, v in bench.history if n == RELAY and v]
    gone = [us for us in hot if 1_000_000 + 3_000_000 < us < 1_000_000 + 4_000_000]
    assert [us for us in hot if us < 2_500_000] and not gone, "no heat while nothing can be read"
    assert bench.registers[17] == list(frames_set_up()), "and it is set up again once it remembers"


def test_an_open_door_ends_heat_and_contactor_within_a_cycle(bench):
    bench.heat(to_ms=3000)
    bench.at(1500, lambda: setattr(bench, "door", 1))
    bench.at(2500, end)
    bench.run()
    on = [us for us, n, v in bench.history if n in (RELAY, COIL) and v]
    assert on and max(on) < 1_000_000 + 1_500_000 + 30_000


def test_the_stand_ins_do_not_stay(bench):
    bench.at(100, end)
    bench.run()
    assert sys.modules["time"] is time and Path(kilnctl.firmware.__file__ or "").is_file()
