"""The guided test of the I/O board with simulated persons (slow, wrong, frightened), on the board's real logic."""

import dataclasses
import json
from pathlib import Path

import pytest

from kilnctl import KilnctlError
from kilnctl.commands import _guided_test
from kilnctl.commands._bench_steps import steps
from kilnctl.firmware import logic
from kilnctl.rig import desk
from kilnctl.rig.board_rig import BoardRig
from kilnctl.rig.desk import Desk, opened_again
from kilnctl.rig.simulated_board import registers_31856, word_31855

ROOT = Path(__file__).parents[2]
#: What a person with a good oven says to the questions that name no step.
GOOD = {
    "Your name": "A person",
    "The heater's wires are": "insulated",
    "test lamp is": "dark",
    "The tester shows": "nothing",
    "Do it now. The contactor:": "dropped",
    "The test lamp:": "flickers",
    "The contactor is": "out",
    "Before you touch it": "in",
    "Relay's lamp and contactor": "went off",
    "While it was plugged in": "stayed off",
    "contactor: stays out": "stays out",
    "contactor: pulled in": "pulled in",
    "Enter": "",
}


class Person:
    """Answers from what they see of the outputs. `says`: part of a prompt → other words, or something to do."""

    def __init__(self, line, slow_s=0.0):
        self.line, self.slow_s, self.says, self.asked = line, slow_s, {}, []
        self.cuts, self.right, self.forgets_start, self.warms = True, True, False, {}

    def __call__(self, prompt=""):
        self.asked.append(prompt.strip())
        self._hands(prompt)
        for part, said in self.says.items():
            if part in prompt:
                said = said.pop(0) if isinstance(said, list) else said
                if isinstance(said, BaseException):
                    raise said
                if said is not None:
                    return said
        if "Enter" not in prompt:
            self.line.time.sleep(self.slow_s)
        return next(said for part, said in reversed(GOOD.items()) if part in prompt)

    def _hands(self, prompt):
        """What happens to the oven during the step."""
        line = self.line
        if "dropped" in prompt or "pulls in, not there" in prompt:
            line.cut = self.cuts
        elif "Enter" in prompt and not self.forgets_start:
            line.cut = False
        if "Relay's lamp" in prompt and self.hung():
            line.silent = True
            line.time.sleep(0.7)
        if "Plug it in" in prompt:
            line.silent = False
        if "Enter: begin" in prompt:
            self.warm()

    def hung(self):
        """At the second question whether both went off, the cable is unplugged."""
        return sum("Relay's lamp" in p for p in self.asked) == 2

    def warm(self):
        """The sensor whose turn it is, or what `warms` says."""
        for name, raw in self.warms.items():
            setattr(self.line, name, raw)
        if self.warms or not self.right:
            return
        turn = sum("Enter: begin" in p for p in self.asked)
        if turn == 1:
            self.line.raw = registers_31856(108.0, 25.0)
        elif turn == 2:
            self.line.raw_limit = word_31855("K", 108.0, 25.0)
        elif turn == 3:
            self.line.raw_part = registers_31856(108.0, 25.0)


@pytest.fixture
def walk(cabinet, line, tmp_path, monkeypatch):
    """`walk(person)` → (status, record's last line)."""
    line.raw_part = line.raw  # the part's sensor lies in the room

    def go(person, oven=cabinet):
        monkeypatch.setattr("builtins.input", person)
        record = tmp_path / "record.jsonl"
        test = _guided_test.GuidedTest(
            oven,
            lambda: BoardRig(oven, line=line),
            lambda: opened_again(lambda: line, lambda found: BoardRig(oven, line=found)),
            record,
            None,
        )
        status = test.run()
        kept = record.read_text(encoding="utf-8").splitlines()
        return status, json.loads(kept[-1]) if kept else None

    return go


def off(line):
    """Neither relay nor contactor is on, on the board itself."""
    line.run_to_now()
    return line.board.relay_bits == 0 and not line.board.contactor


def test_a_person_who_takes_three_seconds_for_each_answer_passes(walk, line, capsys):
    """They could not: after three seconds the board had latched while the question waited."""
    status, kept = walk(Person(line, slow_s=3.0))
    said = capsys.readouterr().out
    assert status == 0, said
    assert kept["passed"] and kept["who"] == "A person" and kept["failed"] == [] and kept["when"].startswith("20")
    assert {"Emergency stop", "Limiter", "Limiter's own sensor", "The program hangs", "Sensor control"} <= set(
        kept["good"]
    )
    assert off(line) and "only the limit reading rose" in said
    assert "Passed. Connect the heater with the main switch off, locked and proved dead" in said


def test_each_question_stands_before_its_outputs_go_on(walk, line, until, clock):
    states = []
    person = Person(line)

    def watched(prompt=""):
        if "Enter: switch on" in prompt:
            states.append(until(lambda: off(line), 1.0))
            clock.sleep(0.3)
            assert off(line)
        return person(prompt)

    assert walk(watched)[0] == 0
    assert len(states) >= 8 and all(states)


@pytest.mark.parametrize(
    "part, said, failed",
    [
        ("test lamp is", "lit", "Relay on, contactor open: the test lamp is: lit"),
        ("The tester shows", "v", "Relay on, contactor open: the tester shows: voltage"),
        ("stays out, comes", "comes back in", "Emergency stop: now let it go. the contactor: comes back in"),
        ("dropped, stayed in", "stayed", "Limiter: do it now. the contactor: stayed in"),
        ("While it was plugged in", "twitched", "DO NOT USE IT before it has pull-downs"),
    ],
)
def test_what_is_wrong_is_said_and_kept(walk, line, capsys, part, said, failed):
    person = Person(line)
    person.says[part] = said
    status, kept = walk(person)
    assert status == 1 and not kept["passed"] and any(failed in words for words in kept["failed"]), kept
    printed = capsys.readouterr().out
    assert "Not passed: leave the heater disconnected." in printed and "Connect the heater" not in printed
    assert off(line)


@pytest.mark.parametrize("wrong", [["what?", None], ["", "  ", "y", "yes", "no!", None]])
def test_whoever_does_not_understand_is_asked_once_more_while_it_stays_on(walk, line, capsys, until, wrong):
    person = Person(line)
    person.says["test lamp is"] = wrong
    on = []

    def watched(prompt=""):
        if "test lamp is" in prompt and len(on) <= len(person.says["test lamp is"]):
            on.append(until(lambda: line.board.state == logic.ARMED, 1.0))
        if not person.says["test lamp is"]:
            person.says["test lamp is"] = [None]
        return person(prompt)

    status, kept = walk(watched)
    assert status == 0 and kept["passed"] and on and all(on)
    assert "Take your time. Say what you see: dark, lit" in capsys.readouterr().out


WORDS_OF_FRIGHT = (KeyboardInterrupt(), EOFError(), "off", "STOP", "help")
PLACES = ("Enter: begin", "The tester shows", "The contactor: dropped", "Relay's lamp")


@pytest.mark.parametrize("where", PLACES)
@pytest.mark.parametrize("what", WORDS_OF_FRIGHT, ids=repr)
def test_whoever_is_frightened_has_everything_off_at_once(walk, line, capsys, what, where):
    person = Person(line)
    person.says[where] = what
    status, kept = walk(person)
    assert off(line) and status == (130 if isinstance(what, KeyboardInterrupt) else 1)
    assert not kept["passed"] and kept["ended"] and kept["who"] == "A person"
    printed = capsys.readouterr().out
    assert (
        "Nothing counts as passed" in printed
        and "Relay and contactor are told off; the contactor reads open" in printed
    )


def test_an_answer_after_the_time_does_not_count(walk, line, capsys, monkeypatch, clock):
    person = Person(line)
    late = [0]

    def watched(prompt=""):
        if "test lamp is" in prompt and not late[0]:
            late[0] = 1
            clock.sleep(desk.HOLD_S + 0.6)
            assert off(line), "it is off by itself"
        return person(prompt)

    monkeypatch.setattr(_guided_test, "steps", lambda oven: steps(oven)[:1])
    status, kept = walk(watched)
    printed = capsys.readouterr().out
    assert "120 s are over and all was told off. That answer does not count: once more." in printed
    assert status == 0 and kept["good"][0] == "Relay on, contactor open"


def test_a_heater_that_is_connected_is_never_tried(walk, line, capsys):
    person = Person(line)
    person.says["The heater's wires are"] = "connected"
    status, kept = walk(person)
    assert (status, kept) == (1, None) and "Nothing was switched on" in capsys.readouterr().out
    assert not any("Enter" in prompt for prompt in person.asked)


def test_a_read_back_that_contradicts_the_eyes_fails(walk, line):
    """The person says what is expected, and cuts nothing: the contactor never opens."""
    person = Person(line)
    person.cuts = False
    status, kept = walk(person)
    assert status == 1
    assert "Emergency stop: the contactor was never read open meanwhile" in kept["failed"]
    assert "Heat sink's thermostat: the contactor was never read open meanwhile" in kept["failed"]


def test_a_coil_that_never_closed_proves_nothing(walk, line):
    """Start was not pressed after the emergency stop, so the limiter had nothing to switch off."""
    person = Person(line)
    person.forgets_start = True
    status, kept = walk(person)
    assert status == 1 and "Limiter: the contactor was never read closed: was start pressed?" in kept["failed"]
    assert not any(words.startswith("Emergency stop") for words in kept["failed"])


def test_without_a_read_back_the_eyes_count_and_that_is_kept(walk, line):
    line.read_back = False
    status, kept = walk(Person(line))
    assert status == 0 and any("your eyes alone" in words for words in kept["unproved"])


def test_what_this_oven_has_not_is_kept_as_not_proved(walk, line):
    person = Person(line)
    person.says["not there"] = "not"
    status, kept = walk(person)
    assert status == 0 and kept["unproved"] == ["Heat sink's thermostat: not there"]


def test_a_board_that_does_not_let_go_is_not_to_be_used(walk, line, monkeypatch, capsys):
    monkeypatch.setattr(logic, "STEP_MS", 60_000)
    status, kept = walk(Person(line))
    assert status == 1 and "did not let go when the program stood still: DO NOT USE IT" in kept["failed"][0]
    assert "Sensors" not in capsys.readouterr().out, "it ends there"


def test_a_cable_that_was_not_pulled_fails(walk, line):
    person = Person(line)
    person.hung = lambda: False
    status, kept = walk(person)
    assert (
        status == 1
        and "The computer is unplugged: the board still answered: the cable was not pulled" in kept["failed"]
    )


@pytest.mark.parametrize(
    "warmed, failed",
    [
        ({"raw_limit": word_31855("K", 108.0, 25.0)}, "the limit reading rose, and the control sensor was warmed"),
        ({"raw": registers_31856(92.0, 25.0)}, "the control reading fell: plus and minus are swapped"),
        ({}, "the control reading did not rise"),
    ],
)
def test_sensors_that_do_not_follow_the_hand(walk, line, capsys, monkeypatch, warmed, failed):
    monkeypatch.setattr(_guided_test, "steps", lambda oven: ())
    person = Person(line)
    person.right, person.warms = False, warmed
    status, kept = walk(person)
    assert status == 1 and kept["failed"][0].startswith("Sensors: " + failed)
    assert capsys.readouterr().out.count("control ") > 1, "it is shown live"


def test_the_steps_fit_the_oven_and_stand_in_safety_md_in_their_order(oven):
    cabinet, kiln = oven("curing-cabinet"), oven("brick-kiln")
    titles = [step.title for step in steps(cabinet)]
    assert "Airflow switch" in titles and "Pulse timer" not in titles
    assert "Airflow switch" not in [step.title for step in steps(kiln)]
    pins = dataclasses.replace(cabinet, rig=dataclasses.replace(cabinet.rig, kind="pins"))
    fed = dataclasses.replace(pins, rig=dataclasses.replace(pins.rig, pins=dataclasses.replace(pins.rig.pins, pulse=5)))
    assert "Pulse timer" in [step.title for step in steps(fed)] and "Pulse timer" not in [s.title for s in steps(pins)]
    assert "The computer is unplugged" not in [step.title for step in steps(fed)]
    text = (ROOT / "SAFETY.md").read_text(encoding="utf-8").partition("The guided test, in its order")[2]
    places = [
        text.index(f"**{title}**")
        for title in dict.fromkeys([*titles[:-1], "The computer is unplugged", "Pulse timer"])
    ]
    assert places == sorted(places)


def test_the_answers_to_a_question_begin_with_different_letters(oven):
    for step in steps(oven("curing-cabinet")):
        for ask in step.asks:
            first = [words[0] for words in (ask.good, ask.bad, ask.none) if words]
            assert len(set(first)) == len(first), ask
            for words in (ask.good, ask.bad, ask.none):
                assert not any(words.startswith(stop) for stop in _guided_test.STOPPING if words), words


def test_a_desk_says_that_the_board_is_gone(cabinet, line, until):
    held = Desk(BoardRig(cabinet, line=line))
    held.on(0.0, True)
    assert until(lambda: line.board.contactor)
    line.silent = True
    assert until(lambda: held.lost)
    held.close()
    with pytest.raises(KilnctlError):
        opened_again(lambda: line, lambda found: BoardRig(cabinet, line=found))


def test_a_contactor_that_reads_closed_after_the_board_let_go_is_told(walk, line, capsys):
    person = Person(line)

    def welded(prompt=""):
        printed.append(capsys.readouterr().out)
        line.welded = "Enter: switch on" in prompt and "The program hangs" in "".join(printed).rpartition(" of ")[2]
        return person(prompt)

    printed = []
    status, kept = walk(welded)
    assert status == 1 and "the contactor reads closed after the board let go: DO NOT USE IT" in kept["failed"][0]
