"""The guided test of the I/O board or of this computer's own pins, with the heater disconnected: a person looks and
measures, the outputs wait for the answer."""

import json
import math
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

from ..errors import KilnctlError
from ..reading import Reading
from ..rig import desk
from ..safety.proof import heat_proof
from ..settings.oven import Oven
from ..terms import ExitStatus
from ._bench_steps import IN, Ask, BenchStep, steps

#: Time for a read-back to follow, s; for the board to switch off after a hang, s; for a hand to warm a sensor, s.
FOLLOW_S, LETS_GO_S, WARM_S = 1.5, 3.0, 60.0
#: A sensor held in a hand rises by at least this, K, and no other by half of it (common practice: a hand is some 10 K
#: warmer).
RISE_K = 3.0
#: Words that end the test from any question.
STOPPING = ("stop", "off", "quit", "q", "exit", "help")
NAMES = ("control", "limit", "part")


class Stopped(Exception):
    """The person ends the test."""


def line_of_answers(prompt: str) -> str:
    """One line from the person. Raises Stopped at the end of the input and at a word of STOPPING."""
    try:
        said = input(prompt).strip()
    except EOFError:
        raise Stopped("no more answers") from None
    if said.lower() in STOPPING:
        raise Stopped(f"'{said}' was answered")
    return said


def needs_a_person(port: str | None) -> None:
    """Raises KilnctlError if no person can answer: the input is not a terminal, and the board is not a stand-in on a
    pseudo-terminal."""
    if not sys.stdin.isatty() and not os.path.realpath(port or "").startswith("/dev/pts/"):
        raise KilnctlError("the guided test wants a person at a terminal: its answers cannot be piped in")


class GuidedTest:
    """`opened()` makes the rig; `again()` makes it again after it was unplugged, with its latch cleared."""

    def __init__(self, oven: Oven, opened: Callable, again: Callable, record: Path, who: str | None):
        self.oven, self._again, self._record, self._who = oven, again, record, who or ""
        self.failed: list[str] = []
        self._passed: list[str] = []
        self._unproved: list[str] = []
        self._opened = opened
        self.desk: desk.Desk | None = None

    def run(self) -> int:
        """Run the test. Returns the exit status. Raises KilnctlError if the record cannot
        be written or the rig cannot be reached."""
        try:
            self._record.open("a", encoding="utf-8").close()
        except OSError as error:
            raise KilnctlError(
                f"{self._record}: the record cannot be written: {error.strerror}; say where with --record FILE"
            ) from None
        self.desk, ended = desk.Desk(self._opened()), ""
        try:
            if not self._begun():
                return ExitStatus.ANSWER_NO
            self._all()
        except Stopped as why:
            ended = f"stopped: {why}"
        except KeyboardInterrupt:
            ended = "interrupted"
        except KilnctlError as error:
            ended = f"the board was lost: {error}"
        finally:
            self._let_go()
        return self._end(ended)

    def _begun(self) -> bool:
        """Say what the test does, and ask whether the heater is disconnected. No output is on before that."""
        print(
            "Guided test. Main switch off and locked, proved dead: take the heater's wires off, and insulate each.\n"
            "Put a test lamp in the heater's place: incandescent or halogen, 40 W or more, for your mains voltage; no "
            "LED.\nThen switch on. Work on the mains is for those who may do it where you live.\n"
            f"Each look stays on while you look and measure, for {desk.HOLD_S:.0f} s at most; then it is off by "
            "itself.\nAnswer with the word that you see, or its first letter. 'stop', Ctrl-C or the main switch ends "
            "it at any time."
        )
        while not self._who:
            self._who = line_of_answers("Your name, for the record: ")
        if self._asked(Ask("The heater's wires are", "insulated", "connected")) != "good":
            print("Not tested. Nothing was switched on.")
            return False
        return True

    def _all(self) -> None:
        found = steps(self.oven)
        for number, step in enumerate(found, 1):
            print(f"\n{number} of {len(found) + 1}. {step.title}\n   {step.do}")
            failed = self._step(step)
            self.failed += [f"{step.title}: {words}" for words in failed]
            self._passed += [] if failed else [step.title]
            print(f"   {'FAILED: ' + '; '.join(failed) if failed else 'good'}")
            if any("DO NOT USE" in words for words in failed):
                return
        print(f"\n{len(found) + 1} of {len(found) + 1}. Sensors")
        self._sensors()

    # ---- one look ----

    def _step(self, step: BenchStep) -> list[str]:
        """Returns what failed. Answers count only while the outputs are on; when their time is over the step is
        repeated."""
        assert self.desk is not None
        while True:
            on = "switch on" if step.duty or step.closed else "go on"
            line_of_answers(f"   Enter: {on}. ")
            if step.duty or step.closed:
                self.desk.on(step.duty, step.closed)
            else:
                self.desk.off()
            began = time.monotonic()
            failed = self._answers(step)
            if failed is None:
                self.desk.off()
                print(f"   {desk.HOLD_S:.0f} s are over and all was told off. That answer does not count: once more.")
                continue
            if step.kind == "outputs":
                failed += self._read_back(step, began)
            elif step.kind == "coil":
                failed += self._coil_read_back(step)
            self.desk.off()
            if step.kind == "hang":
                failed += self._hung()
            elif step.kind == "unplug":
                failed += self._unplugged()
            return failed

    def _answers(self, step: BenchStep) -> list[str] | None:
        """What the answers say; None when the outputs' time was over before the last of them."""
        assert self.desk is not None
        if step.kind == "hang":
            time.sleep(FOLLOW_S)
            self.desk.hang()
            time.sleep(LETS_GO_S)
        elif step.kind == "coil":
            time.sleep(FOLLOW_S)
        failed = []
        for ask in step.asks:
            said = self._asked(ask)
            if self.desk.expired:
                return None
            if said == "bad":
                failed.append(f"{ask.words.lower()}: {ask.bad}")
            elif said == "none":
                self._unproved.append(f"{step.title}: {ask.none}")
        return failed

    def _asked(self, ask: Ask) -> str:
        """ "good", "bad" or "none". After any other answer the question is asked again."""
        options = {"good": ask.good, "bad": ask.bad} | ({"none": ask.none} if ask.none else {})
        shown = ", ".join(options.values())
        while True:
            said = line_of_answers(f"   {ask.words}: {shown}? ").lower()
            found = [kind for kind, words in options.items() if said and words.startswith(said)]
            if len(found) == 1:
                return found[0]
            print(f"   Take your time. Say what you see: {shown} ('stop' ends it).")

    def _read_back(self, step: BenchStep, began_s: float) -> list[str]:
        """Check what contactor and current meter read while the output was on."""
        assert self.desk is not None
        time.sleep(max(0.0, began_s + FOLLOW_S - time.monotonic()))
        now, failed = self.desk.reading, []
        print(f"   {_line(now)}")
        if self.desk.lost:
            raise KilnctlError(self.desk.lost)
        if now.contactor_closed is None:
            self._unproved.append(f"{step.title}: no read-back of the contactor, your eyes alone")
        elif now.contactor_closed != step.closed:
            failed.append(f"the contactor reads {'closed' if now.contactor_closed else 'open'}")
        if now.fired is not None and now.fired > 0.02 and not (step.duty and step.closed):
            failed.append("current flows")
        if "board-fault" in now.faults:
            failed.append(f"the board says: {self.desk.rig.words()}")
        return failed

    def _coil_read_back(self, step: BenchStep) -> list[str]:
        """The contactor must have been read open while it was commanded closed; if a part was operated during the step,
        only after it had been read closed."""
        assert self.desk is not None
        time.sleep(FOLLOW_S)
        if self.desk.lost:
            raise KilnctlError(self.desk.lost)
        seen = [look.contactor_closed for look in self.desk.looks]
        if None in seen:
            self._unproved.append(f"{step.title}: no read-back of the contactor, your eyes alone")
            return []
        if IN in step.asks and True not in seen:
            return ["the contactor was never read closed: was start pressed?"]
        after = seen[seen.index(True) :] if True in seen else seen
        return [] if False in after else ["the contactor was never read open meanwhile"]

    def _hung(self) -> list[str]:
        """After the simulated hang the board must have latched, and must clear."""
        assert self.desk is not None
        failed = []
        if not any("board-fault" in look.faults for look in self.desk.looks):
            failed.append("the board did not let go when the program stood still: DO NOT USE IT")
        elif self.desk.reading.contactor_closed:
            failed.append("the contactor reads closed after the board let go: DO NOT USE IT")
        self.desk.rig.clear()
        until = time.monotonic() + LETS_GO_S
        while "board-fault" in self.desk.reading.faults and time.monotonic() < until:
            time.sleep(0.1)
        if "board-fault" in self.desk.reading.faults:
            failed.append(f"the board's fault could not be cleared: {self.desk.rig.words()}")
        return failed

    def _unplugged(self) -> list[str]:
        """The cable is plugged in again; no output may switch while the board starts."""
        assert self.desk is not None
        if not self.desk.lost:
            return ["the board still answered: the cable was not pulled"]
        self.desk.close()
        line_of_answers("   Plug it in again, and look at relay and contactor meanwhile. Enter when that is done. ")
        failed = []
        if self._asked(Ask("While it was plugged in, relay and contactor", "stayed off", "twitched")) == "bad":
            failed.append("relay or contactor twitched while the board started: DO NOT USE IT before it has pull-downs")
        self.desk = desk.Desk(self._again())
        return failed

    # ---- sensors ----

    def _sensors(self) -> None:
        described = (self.oven.sensors.control, self.oven.sensors.limit, self.oven.sensors.part)
        for name, sensor in zip(NAMES, described, strict=True):
            if sensor is not None:
                print(f"   Take the tip of the {name.upper()} sensor into your hand, or into a cup of warm water.")
                line_of_answers(f"   Enter: begin. It ends when the reading has risen, or after {WARM_S:.0f} s. ")
                words = self._warmed(name)
                self.failed += [f"Sensors: {words}"] if words else []
                self._passed += [] if words else [f"Sensor {name}"]
                print(f"   {'FAILED: ' + words if words else f'good: only the {name} reading rose'}")

    def _warmed(self, name: str) -> str:
        """Show the readings live while a hand warms the sensor. Returns what is wrong, or empty."""
        assert self.desk is not None
        first, until = _values(self.desk.reading), time.monotonic() + WARM_S
        rises: dict[str, float] = {}
        while time.monotonic() < until:
            time.sleep(1.0)
            if self.desk.lost:
                raise KilnctlError(self.desk.lost)
            now = _values(self.desk.reading)
            print(f"   {_line(self.desk.reading)}", flush=True)
            rises = {other: now[other] - first[other] for other in now if other in first}
            others = [other for other, rise in rises.items() if other != name and rise >= RISE_K]
            if others:
                return f"the {others[0]} reading rose, and the {name} sensor was warmed: swapped?"
            if rises.get(name, math.nan) >= RISE_K and all(
                rise < RISE_K / 2.0 for other, rise in rises.items() if other != name
            ):
                return ""
        fell = rises.get(name, math.nan) <= -RISE_K
        return f"the {name} reading {'fell: plus and minus are swapped' if fell else 'did not rise'}"

    # ---- the end ----

    def _let_go(self) -> None:
        if self.desk is None:
            return
        self.desk.off()
        if not self.desk.lost:
            time.sleep(FOLLOW_S)
        if not self.desk.lost:
            print(f"\n{heat_proof(self.desk.reading)}.")
        self.desk.close()

    def _end(self, ended: str) -> int:
        """Print the result and record it."""
        passed = not self.failed and not ended
        for words in self.failed:
            print(f"FAILED: {words}")
        if ended:
            print(f"Not finished: {ended}. Nothing counts as passed; begin again when you are ready.")
        print(
            "\nPassed. Connect the heater with the main switch off, locked and proved dead, and go on in SAFETY.md."
            if passed
            else "\nNot passed: leave the heater disconnected."
        )
        told = {
            "when": time.strftime("%Y-%m-%dT%H:%M:%S%z"),
            "who": self._who,
            "oven": self.oven.name,
            "oven_sha256": self.oven.sha256,
            "passed": passed,
            "good": self._passed,
            "failed": self.failed,
            "unproved": self._unproved,
            "ended": ended,
        }
        with self._record.open("a", encoding="utf-8") as file:
            file.write(json.dumps(told, ensure_ascii=False) + "\n")
        print(f"Kept in {self._record}.")
        if ended == "interrupted":
            return ExitStatus.ENDED
        return ExitStatus.DONE if passed else ExitStatus.ANSWER_NO


def _values(reading: Reading) -> dict[str, float]:
    """The readings that are numbers, °C."""
    said = zip(NAMES, (reading.chamber_c, reading.limit_c, reading.part_c), strict=True)
    return {name: value for name, value in said if value is not None and math.isfinite(value)}


def _line(reading: Reading) -> str:
    """The present readings."""
    words = [f"{name} {value:.1f} °C" for name, value in _values(reading).items()]
    words += [f"fault {fault}" for fault in reading.faults]
    for what, yes, no in ((reading.contactor_closed, "closed", "open"),):
        words.append("contactor: no read-back" if what is None else f"contactor reads {yes if what else no}")
    return ", ".join(words)
