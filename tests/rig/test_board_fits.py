"""Whether board and oven fit: what the board is told at the start, what is refused, and what nobody can prove."""

import dataclasses
import math

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.firmware import frames, logic
from kilnctl.rig.answers import REFUSALS
from kilnctl.rig.board_rig import BoardRig, board_ceiling_c
from kilnctl.rig.line import ARM, greet, setup
from kilnctl.settings.equipment import CalibrationPoint
from tests.rig.board_loop import heard


def changed(oven, **parts):
    """The oven with some fields of its parts changed: `changed(oven, supply={"frequency_hz": 60.0})`."""
    return dataclasses.replace(
        oven,
        **{
            name: dataclasses.replace(getattr(oven, name), **value) if isinstance(value, dict) else value
            for name, value in parts.items()
        },
    )


def reads_low(sensor, error_k):
    """A sensor that reads so much too low everywhere."""
    points = (CalibrationPoint(reads_c=0.0, true_c=error_k), CalibrationPoint(reads_c=400.0, true_c=400.0 + error_k))
    return dataclasses.replace(sensor, calibration=points)


@pytest.fixture
def opened(desk_line):
    """`opened(oven, line=None, **fields)` → (rig, line), closed at the end; `fields` of each answer are changed."""
    rigs = []

    def make(oven, line=None, **fields):
        line = line or desk_line()
        if fields:
            heard(line, lambda request, answer: dataclasses.replace(answer, **fields))
        rigs.append(BoardRig(oven, line=line))
        return rigs[-1], line

    yield make
    for rig in rigs:
        rig.close()


def kinds(line, kind):
    """How often that kind of request was sent."""
    return line.asked.count(kind)


# ---- the ceiling ----


@pytest.mark.parametrize(
    ("control_k", "limit_k", "ceiling_c"),
    [(0.0, 0.0, 280), (-8.0, -8.0, 280), (8.0, 0.0, 272), (0.0, 8.0, 272), (8.0, 20.0, 260), (20.0, 8.0, 260)],
)
def test_the_ceiling_speaks_the_language_of_the_sensor_that_reads_lowest(cabinet, control_k, limit_k, ceiling_c):
    """By so much each reads too low. The trip is 275 °C; a sensor that reads too high ends the heat early by itself."""
    sensors = {
        "control": reads_low(cabinet.sensors.control, control_k),
        "limit": reads_low(cabinet.sensors.limit, limit_k),
    }
    assert board_ceiling_c(changed(cabinet, sensors=sensors)) == ceiling_c


def test_the_files_own_ceiling_counts_and_a_fraction_is_rounded_up(cabinet):
    """Rounded down it might lie below the trip."""
    assert board_ceiling_c(changed(cabinet, rig={"ceiling_c": 285.0})) == 285
    assert board_ceiling_c(changed(cabinet, rig={"ceiling_c": 285.2}, sensors={"limit": None})) == 286


# ---- the settings ----


def told(line):
    """Notes each setting that the board is sent."""
    sent = []
    heard(line, lambda request, answer: (sent.append(request) if request.kind == frames.SETUP else None, answer)[1])
    return sent


def test_the_board_is_told_ceiling_groups_runs_and_the_smallest_current(cabinet, opened, desk_line):
    """A tenth of one relay's current counts: 3 kW of two relays at 230 V are 0.65 A of 6.5 A each."""
    line = desk_line(relays=2)
    sent = told(line)
    oven = changed(
        cabinet,
        elements={"power_w": 3000.0},
        supply={"voltage_v": 230.0, "frequency_hz": 50.0},
        switching={"relays": 2, "minimum_on_s": 0.5},
    )
    opened(oven, line)
    assert sent == [setup(280, groups=2, shortest_run=25, smallest=65, table_k=sent[0].word4)]


@pytest.mark.parametrize(
    ("control", "limit", "part", "channels"),
    [
        (("max31855", "K"), ("max31855", "K"), ("max31855", "K"), 0b111),
        (("max31856", "K"), ("max31855", "K"), None, 0b010),
        (("max31855", "N"), ("max31855", "K"), ("max31856", "K"), 0b010),
        (("max31855", "K"), ("max31855", "J"), ("max31855", "K"), 0b101),
    ],
)
def test_the_table_of_type_k_is_for_straight_lines_of_type_k(cabinet, opened, line, control, limit, part, channels):
    """A MAX31856 is linear by itself, and for other types the board has no table."""
    sent = told(line)
    kinds = dict(zip(("control", "limit", "part"), (control, limit, part), strict=True))
    sensors = {
        name: what and dataclasses.replace(cabinet.sensors.control, front_end=what[0], type=what[1])
        for name, what in kinds.items()
    }
    chips = {None: 2, "max31855": 1, "max31856": 2}
    raw = tuple((chips[what and what[0]], 1, bytes((6, 64, 25, 0, 0, 0))) for what in (control, limit, part))
    opened(changed(cabinet, sensors=sensors), line, raw=raw)
    assert sent[0].word4 == channels


@pytest.mark.parametrize(("lost", "fits"), [(0, True), (2, True), (3, False)])
def test_settings_whose_answers_are_lost_are_sent_three_times(cabinet, opened, line, lost, fits):
    left = [lost]

    def loses(request, answer):
        if request.kind == frames.SETUP and left[0]:
            left[0] -= 1
            return None
        return answer

    heard(line, loses)
    if fits:
        opened(cabinet, line)
        assert kinds(line, frames.SETUP) == lost + 1 and line.board.ceiling == 280
    else:
        with pytest.raises(KilnctlError, match=r"ceiling 280 °C, 1 relays\): it does not answer"):
            opened(cabinet, line)
        assert kinds(line, frames.SETUP) == 3 and line.closed


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"refused": logic.R_RANGE}, REFUSALS[logic.R_RANGE]),
        ({"refused": logic.R_ARMED}, REFUSALS[logic.R_ARMED]),
        ({"refused": logic.R_RAISED, "ceiling_c": 200}, "ceiling is 200 °C and may be raised to 280 °C only after"),
        ({"ceiling_c": 279}, "its ceiling is 279 °C now"),
    ],
)
def test_a_board_that_does_not_take_the_settings_is_refused(cabinet, opened, line, fields, words):
    with pytest.raises(KilnctlError, match=words) as told:
        opened(cabinet, line, **fields)
    assert str(told.value).startswith(f"{cabinet.file}: the board") and line.closed


# ---- the board that is found ----


def test_an_armed_board_is_put_to_rest_and_one_at_rest_is_not_asked(cabinet, opened, desk_line):
    line = desk_line()
    line.ask(setup(280))
    line.ask(ARM)
    opened(cabinet, line)
    assert line.board.state == logic.SAFE and kinds(line, frames.REST) == 1
    _, line = opened(cabinet)
    assert kinds(line, frames.REST) == 0


def left_alone(line):
    """Armed, and then not spoken to for longer than the board's lease."""
    line.ask(setup(280))
    line.ask(ARM)
    line.time.sleep(0.6)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda n: setattr(n.board, "mains_hz", 60), "50 Hz, but the board's main.py says 60 Hz"),
        (lambda n: n.ask(setup(100)), "without supply"),
        (left_alone, "desk: the board has latched a fault: nobody spoke to it"),
        (lambda n: setattr(n, "silent", True), "no I/O board"),
    ],
)
def test_a_board_that_does_not_fit_the_oven_is_refused(cabinet, monkeypatch, spoil, words, desk_line):
    monkeypatch.setattr(greet, "__defaults__", (0.4,))
    line = desk_line()
    spoil(line)
    with pytest.raises(KilnctlError, match=words):
        BoardRig(cabinet, line=line)
    assert line.closed


@pytest.mark.parametrize(
    ("place", "chip", "words"),
    [
        (0, 1, "control: the oven's file says max31856, the board's main.py has max31855 there"),
        (1, 2, "limit: the oven's file says max31855, the board's main.py has max31856 there"),
        (1, 0, "limit: the oven's file says max31855, the board's main.py has none there"),
        (2, 1, ""),
    ],
)
def test_each_sensor_has_the_converter_that_the_file_says(cabinet, opened, line, place, chip, words):
    """The part's place stays as it is: the file has no sensor there."""
    oven = changed(cabinet, sensors={"part": None})
    good = [(2, 1, bytes((25, 0, 6, 64, 0, 0))), (1, 1, bytes((6, 64, 25, 0, 0, 0))), (2, 1, bytes(6))]
    raw = tuple((chip, *rest) if i == place else (own, *rest) for i, (own, *rest) in enumerate(good))
    if words:
        with pytest.raises(KilnctlError, match=words):
            opened(oven, line, raw=raw)
        assert line.closed
    else:
        opened(oven, line, raw=raw)


@pytest.mark.parametrize(("tick_s", "fits"), [(1.5, True), (1.51, False)])
def test_a_tick_is_well_below_the_boards_two_seconds(cabinet, opened, tick_s, fits):
    oven = changed(cabinet, control={"tick_s": tick_s})
    if fits:
        opened(oven)
    else:
        with pytest.raises(KilnctlError, match="too slow"):
            opened(oven)


def test_the_port_of_the_command_comes_before_the_files(cabinet):
    with pytest.raises(KilnctlError, match="which port") as told:
        BoardRig(dataclasses.replace(cabinet, file=""))
    assert str(told.value).startswith(f"{cabinet.name}: rig: ")
    filed = changed(cabinet, rig={"port": "/dev/of-the-file"})
    with pytest.raises(KilnctlError, match=r"/dev/of-the-file: .* cannot be opened"):
        BoardRig(filed)
    with pytest.raises(KilnctlError, match=r"/dev/given: .* cannot be opened"):
        BoardRig(filed, port="/dev/given")


def test_a_type_that_its_converter_cannot_read_is_refused_with_its_place(cabinet, opened):
    limit = dataclasses.replace(cabinet.sensors.limit, front_end="max31855", type="B")
    with pytest.raises(KilnctlError, match=r"sensors: limit: .*type B") as told:
        opened(changed(cabinet, sensors={"limit": limit}))
    assert str(told.value).startswith(f"{cabinet.file}: ")


# ---- what nobody can prove ----

WIRED = frames.HAS_CONTACTOR | frames.HAS_DOOR | frames.HAS_AIRFLOW
METERS = frames.HAS_CURRENT | frames.HAS_SUPPLY


@pytest.mark.parametrize(
    ("described", "fields", "words"),
    [
        ((True, True), {"inputs": WIRED, "meters": METERS}, []),
        ((True, True), {"inputs": WIRED - frames.HAS_CONTACTOR, "meters": METERS}, ["no auxiliary contact"]),
        ((True, True), {"inputs": WIRED - frames.HAS_DOOR, "meters": METERS}, ["door is open"]),
        ((True, True), {"inputs": WIRED, "meters": frames.HAS_SUPPLY}, ["the current: "]),
        ((True, True), {"inputs": WIRED, "meters": frames.HAS_CURRENT}, ["the supply voltage: "]),
        ((False, False), {"inputs": WIRED, "meters": 0}, []),
        ((False, True), {"inputs": 0, "meters": 0}, ["auxiliary", "door is open", "the supply voltage: "]),
    ],
)
def test_what_is_not_wired_is_told_as_not_proved(cabinet, opened, described, fields, words):
    current, supply = described
    rig, _ = opened(changed(cabinet, meters={"current": current, "supply": supply}), **fields)
    facts = rig.facts
    assert (facts.kind, facts.name, facts.lease_s, facts.unattended) == ("board", "I/O board on desk", 0.5, True)
    assert len(facts.unproved) == len(words)
    assert all(word in found for word, found in zip(words, facts.unproved, strict=True)), facts.unproved


def test_a_calibration_that_ends_far_below_is_told_with_its_sensor(cabinet, opened):
    """200 K above the last point it is carried on without a word."""
    for reads_c, words in ((cabinet.limits.highest_c - 201.0, "part sensor: the calibration ends"), (240.0, "")):
        points = (CalibrationPoint(reads_c=0.0, true_c=0.0), CalibrationPoint(reads_c=reads_c, true_c=reads_c + 1.0))
        part = dataclasses.replace(cabinet.sensors.control, calibration=points)
        rig, _ = opened(changed(cabinet, sensors={"part": part}))
        found = [said for said in rig.facts.unproved if "calibration" in said]
        assert len(found) == bool(words) and all(said.startswith(words) for said in found)


def test_a_control_sensor_too_quiet_to_show_that_it_lives_is_told(cabinet, opened, monkeypatch):
    rig, _ = opened(cabinet)
    assert not any("goes on converting" in words for words in rig.facts.unproved)
    quiet = cabinet.sensors.control
    monkeypatch.setattr(
        "kilnctl.rig.board_rig.identical_s", lambda sensor, tick_s: math.inf if sensor is quiet else 15.0
    )
    rig, _ = opened(cabinet)
    assert any("goes on converting" in words for words in rig.facts.unproved)
