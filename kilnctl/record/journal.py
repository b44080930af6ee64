"""The journal of a run: one line a record, `sequence text checksum`, in files that only grow.

    17 step {"time_s": 1190.0, "text": "soak: cure"} 8d2f01ac

The checksum is the CRC-32 (ISO-HDLC, as in zlib and gzip) of everything before its space. A line that was cut by a
power failure, or damaged by a failing card, fails the check and is left out; every whole line comes back. `JournalFile`
is the side that touches the disk; `recorder.Recorder` puts a thread before it, so that a slow card never delays a
control tick.
"""

import errno
import fcntl
import os
import re
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ..errors import KilnctlError
from .durable import make_folder, sync_folder

#: Longest text of one record, bytes; a segment is closed once it has grown to SEGMENT_BYTES.
LONGEST, SEGMENT_BYTES = 65536, 8_000_000
#: Most records that are kept in memory until a sync has succeeded.
_REMEMBERED = 10_000
#: Tries, 10 ms apart, to lock a journal.
_LOCK_TRIES = 5
_SEGMENT = re.compile(r"journal-(\d{6})\.log")


@dataclass(frozen=True, slots=True)
class Entry:
    """One whole record and where it stands (file name and line)."""

    sequence: int
    text: str
    file: str
    line: int

    @property
    def kind(self) -> str:
        """Its first word: "sample", "trip", …"""
        return self.text.partition(" ")[0]

    @property
    def body(self) -> str:
        return self.text.partition(" ")[2]


@dataclass(frozen=True)
class Journal:
    """What a journal holds. `bad`: lines that are no records, as "file:line: why"; `missing`: numbers that
    no record was found for."""

    entries: tuple[Entry, ...]
    bad: tuple[str, ...]
    missing: int


def line_of(sequence: int, text: str) -> bytes:
    """The line of one record. Raises ValueError for a text with a line break, or one too long."""
    data = text.encode("utf-8", "replace")
    if b"\n" in data or len(data) > LONGEST:
        raise ValueError(f"a record's text must be one line of at most {LONGEST} bytes")
    data = b"%d %s" % (sequence, data)
    return b"%s %08x\n" % (data, zlib.crc32(data))


def parse_line(line: bytes) -> tuple[int, str] | None:
    """(sequence, text) of a line without its line break, or None where it is no whole record."""
    # No regular expression: it would take longer than all the rest, and a long record has a million lines.
    head, number, text = line[:-9], *line[:-9].partition(b" ")[::2]
    if line[-8:] != b"%08x" % zlib.crc32(head) or line[-9:-8] != b" " or b" " not in head:
        return None
    if not number.isdigit() or number[0] == 48 or len(number) > 18:
        return None
    try:
        return int(number), text.decode()
    except UnicodeDecodeError:
        return None


def segments(folder: str | Path) -> list[Path]:
    """The journal's files in a folder, oldest first."""
    try:
        return sorted(p for p in Path(folder).iterdir() if _SEGMENT.fullmatch(p.name))
    except FileNotFoundError:
        return []
    except OSError as error:
        raise KilnctlError(f"{folder}: cannot be read: {error.strerror}") from None


def _segment_number(path: Path) -> int:
    match = _SEGMENT.fullmatch(path.name)
    assert match is not None  # `segments` lists no other names
    return int(match[1])


def read_journal(place: str | Path) -> Journal:
    """Every whole record of a journal (its folder, or one file of it), in order, none twice. Raises KilnctlError where
    a file cannot be read at all; damage inside is reported in the result, never repaired by a guess."""
    damage = Damage()
    entries = tuple(entries_of(place, damage))
    return Journal(entries, tuple(damage.bad), damage.missing)


@dataclass
class Damage:
    """Problems that `entries_of` finds; see `Journal`."""

    bad: list[str] = field(default_factory=list)
    missing: int = 0


def entries_of(place: str | Path, damage: Damage) -> Iterator[Entry]:
    """As `read_journal`, one record after the other: a journal of days does not fit into a small computer's memory at
    once."""
    for sequence, text, file, line in lines_of(place, damage):
        yield Entry(sequence, text, file, line)


def lines_of(place: str | Path, damage: Damage) -> Iterator[tuple[int, str, str, int]]:
    """As `entries_of`, as plain tuples (sequence, text, file, line), which cost a third."""
    place, last = Path(place), 0
    for path in segments(place) if place.is_dir() else [place]:
        name = path.name
        for number, found in _lines(path):
            if isinstance(found, str):
                damage.bad.append(f"{name}:{number}: {found}")
            elif found[0] > last:
                damage.missing += found[0] - last - 1
                last = found[0]
                yield last, found[1], name, number
            # A number seen before is a record written again after a failed sync: nothing new.


def _lines(path: Path) -> Iterator[tuple[int, tuple[int, str] | str]]:
    try:
        with open(path, "rb") as file:
            for number, line in enumerate(file, 1):
                whole = line.endswith(b"\n")
                line = line.removesuffix(b"\n")
                if not line:
                    continue
                record = parse_line(line)
                yield number, record if record else "no whole record" if whole else "cut off"
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be read: {error.strerror}") from None


class JournalFile:
    """Appends records to the newest segment of a folder. One process at a time; every method may raise OSError. Nothing
    in a journal is ever removed, because half a record would be a wrong one."""

    def __init__(self, folder: str | Path, *, segment_bytes: int = SEGMENT_BYTES):
        self.folder, self.segment_bytes = Path(folder), segment_bytes
        self._unsynced: list[bytes] = []
        #: Records that no sync has confirmed and that could not be kept in memory any longer.
        self.forgotten = 0
        self._handle = -1
        try:
            make_folder(self.folder)
            there = segments(self.folder)
            self.sequence = self._last(there)
            self._open(_segment_number(there[-1]) if there else 1)
        except OSError as error:
            raise KilnctlError(f"{self.folder}: no journal can be kept there: {error.strerror}") from None

    @staticmethod
    def _last(there: list[Path]) -> int:
        for path in reversed(there):
            numbers = [found[0] for _, found in _lines(path) if not isinstance(found, str)]
            if numbers:
                return max(numbers)
        return 0

    def _open(self, number: int) -> None:
        path = self.folder / f"journal-{number:06d}.log"
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        for tries_left in reversed(range(_LOCK_TRIES)):
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except OSError:
                if not tries_left:
                    os.close(handle)
                    raise KilnctlError(f"{path}: another process is writing this journal") from None
                # `retention.being_written` holds the lock for a moment to see whether it is free.
                time.sleep(0.01)
        # Only now, because each failed try would use up a number.
        self.number, self.path = number, path
        self._handle, self._size = handle, os.fstat(handle).st_size
        # A tail without a line break was torn; it becomes one bad line, and nothing after it is lost.
        self._torn = self._size > 0 and os.pread(handle, 1, self._size - 1) != b"\n"
        sync_folder(self.folder)

    def append(self, text: str) -> int:
        """Write one record with one `write`, and return its number. Not yet on the disk: see `sync`."""
        if self._handle < 0:
            self.reopen()
        if self._size >= self.segment_bytes:
            self.rotate()
        line = line_of(self.sequence + 1, text)
        self._write(line)
        self.sequence += 1
        self._unsynced.append(line)
        if len(self._unsynced) > _REMEMBERED:
            del self._unsynced[0]
            self.forgotten += 1
        return self.sequence

    def _write(self, line: bytes) -> None:
        data = b"\n" + line if self._torn else line
        done = os.write(self._handle, data)
        self._size += done
        # A record that lacks only its line break is whole, and its number is taken.
        self._torn = done < len(data)
        if done < len(data) - 1:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def sync(self) -> None:
        """Everything appended so far is on the disk once this returns."""
        if not self._unsynced:
            return
        if self._handle < 0:
            raise OSError(errno.EBADF, "the journal could not be opened again")
        os.fdatasync(self._handle)
        if os.fstat(self._handle).st_nlink == 0:
            raise OSError(errno.ENOENT, "the journal was removed while it was written")
        self._unsynced.clear()

    def rotate(self) -> None:
        """Close this segment and begin the next."""
        self.sync()
        before = self._handle
        self._open(self.number + 1)
        os.close(before)

    def reopen(self) -> None:
        """After a failed sync: go on in a new segment, and write again there what may not have reached the
        disk (the kernel reports a lost page once and then forgets it)."""
        make_folder(self.folder)
        before, self._handle = self._handle, -1
        if before >= 0:
            os.close(before)
        self._open(self.number + (1 if self._size else 0))
        try:
            for line in self._unsynced:
                self._write(line)
        except OSError:
            # The next try writes all of them again: otherwise a sync would confirm records that are not on the disk.
            handle, self._handle = self._handle, -1
            os.close(handle)
            raise

    def close(self) -> None:
        """Sync, and unlock the journal."""
        if self._handle < 0:
            return
        try:
            self.sync()
        finally:
            os.close(self._handle)
            self._handle = -1
