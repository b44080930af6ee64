"""The tests of SAFETY.md that come round: which are due, who did them, when, and with what result.

The log is a file of JSON lines in the oven's state folder. Lines are only added, so no write can lose an earlier line;
a damaged line is reported and skipped.
"""

import datetime
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from ..errors import KilnctlError
from .durable import make_folder, sync_folder

FILE_NAME = "care.jsonl"
LONGEST_WORDS = 400


@dataclass(frozen=True, slots=True)
class CareTest:
    """One test that comes round. `every_days`: as SAFETY.md says; common practice for a small workshop."""

    name: str
    every_days: int
    what: str


#: In the order of their intervals. tests/record/test_care.py holds them to SAFETY.md's own rows.
TESTS = (
    CareTest("residual-current device", 31, "press its test button: it opens, and closes again"),
    CareTest(
        "limiter",
        31,
        "turned below the chamber's temperature it latches, and stays so after cooling; set back and sealed",
    ),
    CareTest("guided test", 92, "kilnctl board … test, each member of the coil circuit, the pulse-fed timer"),
    CareTest("earth connections", 92, "each is tight; proved dead with the contactor open"),
    CareTest("insulation resistance", 366, "measured by a licensed person, cold and dry"),
    CareTest("thermocouples", 366, "control, limit and the limiter's own against a third one at a working temperature"),
    CareTest("uniformity", 366, "kilnctl survey, with loose thermocouples over a soak"),
    CareTest(
        "terminals and lining", 366, "terminals retightened, main switch locked off, proved dead; lining without cracks"
    ),
)
NAMES = tuple(t.name for t in TESTS)


@dataclass(frozen=True, slots=True)
class CareDone:
    """A test that was done. `day`: ISO date."""

    test: str
    day: str
    by: str
    result: str
    passed: bool = True


@dataclass(frozen=True, slots=True)
class CareDue:
    """The state of a test. `last`: when it was last done, passed or not; `days`: until it is due, below 0 when it is
    over due, None when it was never done; `failed`: it was not passed when last done."""

    test: CareTest
    last: CareDone | None
    days: int | None
    failed: bool

    @property
    def now(self) -> bool:
        """Whether it must be done now."""
        return self.failed or self.days is None or self.days <= 0


def read_log(home: Path) -> tuple[tuple[CareDone, ...], tuple[str, ...]]:
    """What was done, oldest first, and a sentence for each line that could not be read. Raises KilnctlError where the
    file is there and cannot be opened."""
    path, done, problems = home / FILE_NAME, [], []
    try:
        with open(path, encoding="utf-8", errors="replace") as file:
            lines = file.readlines()
    except FileNotFoundError:
        return (), ()
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be read: {error.strerror}") from None
    for number, line in enumerate(lines, 1):
        try:
            said = CareDone(**json.loads(line))
            datetime.date.fromisoformat(said.day)
            done.append(said)
        except (ValueError, TypeError):
            problems.append(f"{path}:{number}: cannot be read and does not count")
    return tuple(sorted(done, key=lambda d: d.day)), tuple(problems)


def known_log(home: Path | None) -> tuple[tuple[CareDone, ...] | None, tuple[str, ...]]:
    """As `read_log`; None instead of what was done where there is no log on this computer. Raises KilnctlError."""
    return read_log(home) if home is not None and (home / FILE_NAME).is_file() else (None, ())


def add(home: Path, done: CareDone) -> None:
    """Record durably that a test was done. Raises KilnctlError for a test without such a name, or where the file cannot
    be written."""
    if done.test not in NAMES:
        raise KilnctlError(f"'{done.test}' is none of the tests that come round: {', '.join(NAMES)}")
    if not done.by.strip():
        raise KilnctlError("say who did it: --by NAME")
    if any(len(words) > LONGEST_WORDS for words in (done.by, done.result)):
        raise KilnctlError(f"at most {LONGEST_WORDS} characters")
    path = home / FILE_NAME
    try:
        make_folder(home)
        with open(path, "a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(done), ensure_ascii=False) + "\n")
            file.flush()
            os.fsync(file.fileno())
        sync_folder(home)
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def due(done: tuple[CareDone, ...], today: datetime.date) -> tuple[CareDue, ...]:
    """The state of each test today. A date in the future counts as today: the clock was wrong then."""
    standing = []
    for test in TESTS:
        last = next((d for d in reversed(done) if d.test == test.name), None)
        days = None
        if last is not None:
            day = min(datetime.date.fromisoformat(last.day), today)
            days = test.every_days - (today - day).days
        standing.append(CareDue(test, last, days, last is not None and not last.passed))
    return tuple(standing)
