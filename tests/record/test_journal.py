"""The journal: every whole record comes back and no false one, after any power cut or damage of the card."""

import multiprocessing
import os
import random
import resource
import time
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl import KilnctlError
from kilnctl.record import durable
from kilnctl.record.journal import JournalFile, line_of, parse_line, read_journal, segments

TEXTS = [
    'start {"schedule": "Powder cure"}',
    'sample 1.0,200.00,20.055,"full power, on its way"',
    'step {"text": "Ü °C"}',
    "x",
    "",
    'trip {"fault": "over-temperature"} 00000000',
]


def written(folder, texts=TEXTS, **how):
    file = JournalFile(folder, **how)
    for text in texts:
        file.append(text)
    file.close()
    return segments(folder)


def test_line_checksum_against_crc_catalogue():
    """CRC-32/ISO-HDLC of "123456789" is cbf43926 (the check value of the published catalogues of
    parametrised CRCs, from memory)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    # "12 abc": computed with a bit-by-bit CRC that shares no code with zlib.
    register = 0xFFFFFFFF
    for byte in b"12 abc":
        register ^= byte
        for _ in range(8):
            register = (register >> 1) ^ (0xEDB88320 if register & 1 else 0)
    assert line_of(12, "abc") == b"12 abc %08x\n" % (register ^ 0xFFFFFFFF)


def test_a_file_cut_at_every_byte_with_every_tail(tmp_path):
    """Cut anywhere, then nothing, a block of zeros, or random bytes: all whole records come back and
    nothing else does."""
    (path,) = written(tmp_path / "j")
    data = path.read_bytes()
    ends = [i for i, b in enumerate(data) if b == 0x0A]
    rng = random.Random(1)
    cut_file = tmp_path / "journal-000001.log"
    for cut in range(len(data) + 1):
        for tail in (b"", bytes(512), rng.randbytes(64), b"\n" + rng.randbytes(64), b"7 made up 00000000\n"):
            cut_file.write_bytes(data[:cut] + tail)
            found = [e.text for e in read_journal(cut_file).entries]
            whole = sum(end < cut for end in ends)
            # A record that lacks only its line break is whole too, if nothing stands in its place.
            spare = whole < len(ends) and cut == ends[whole] and tail[:1] in (b"", b"\n")
            assert found == TEXTS[: whole + spare], (cut, tail)


def test_going_on_after_a_cut_at_every_byte_loses_nothing(tmp_path):
    (path,) = written(tmp_path / "whole", TEXTS[:3])
    data = path.read_bytes()
    for cut in range(len(data) + 1):
        folder = tmp_path / f"cut-{cut}"
        folder.mkdir()
        (folder / "journal-000001.log").write_bytes(data[:cut])
        before = [e.text for e in read_journal(folder).entries]
        written(folder, ["after"])
        journal = read_journal(folder)
        assert [e.text for e in journal.entries] == [*before, "after"]
        assert len(journal.bad) <= 1 and journal.missing == 0


@given(
    st.lists(st.text(st.characters(exclude_characters="\n", codec="utf-8"), max_size=40), max_size=8),
    st.binary(max_size=200),
)
def test_any_text_comes_back_and_rubbish_never_does(texts, rubbish):
    lines = [line_of(i, text) for i, text in enumerate(texts, 1)]
    for i, (line, text) in enumerate(zip(lines, texts, strict=True), 1):
        assert parse_line(line[:-1]) == (i, text)
    assert parse_line(rubbish) is None


@given(st.data())
def test_one_changed_bit_is_noticed(data):
    line = line_of(41, "trip over-temperature at 12 s")[:-1]
    bit = data.draw(st.integers(0, 8 * len(line) - 1))
    changed = bytearray(line)
    changed[bit // 8] ^= 1 << (bit % 8)
    assert parse_line(bytes(changed)) is None


def test_a_damaged_middle_is_counted_and_named(tmp_path):
    (path,) = written(tmp_path)
    lines = path.read_bytes().split(b"\n")
    lines[1] = lines[1][:4] + b"\0" * 9
    path.write_bytes(b"\n".join(lines))
    journal = read_journal(tmp_path)
    assert journal.missing == 1 and journal.bad == ("journal-000001.log:2: no whole record",)
    assert [e.sequence for e in journal.entries] == [1, 3, 4, 5, 6]
    assert (journal.entries[0].kind, journal.entries[0].body) == ("start", '{"schedule": "Powder cure"}')


def test_records_repeated_or_from_before_are_not_taken_twice(tmp_path):
    (path,) = written(tmp_path)
    path.write_bytes(path.read_bytes() + line_of(2, "old block of another file"))
    assert [e.text for e in read_journal(path).entries] == TEXTS


def test_a_text_that_is_no_line_is_refused():
    for text in ("two\nlines", "x" * 70000):
        with pytest.raises(ValueError, match="one line"):
            line_of(1, text)


def test_segments_follow_each_other_and_one_that_is_gone_is_missed(tmp_path):
    texts = [f"sample {i}" for i in range(200)]
    written(tmp_path / "all", texts, segment_bytes=400)
    assert len(segments(tmp_path / "all")) > 8
    assert [e.text for e in read_journal(tmp_path / "all").entries] == texts
    written(tmp_path / "all", ["later"], segment_bytes=400)
    assert read_journal(tmp_path / "all").entries[-1].sequence == 201
    for first in segments(tmp_path / "all")[:2]:
        first.unlink()
    left = read_journal(tmp_path / "all")
    assert left.missing == 201 - len(left.entries) > 0, "a beginning that was taken away is told, not passed over"


def test_two_writers_are_refused(tmp_path):
    first = JournalFile(tmp_path)
    with pytest.raises(KilnctlError, match="another process is writing"):
        JournalFile(tmp_path)
    first.close()
    JournalFile(tmp_path).close()


def test_a_folder_that_cannot_hold_a_journal(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(KilnctlError, match="no journal can be kept"):
        JournalFile(tmp_path / "file" / "below")


def test_a_removed_journal_is_noticed_and_written_again(tmp_path):
    file = JournalFile(tmp_path / "j")
    file.append("one")
    file.path.unlink()
    with pytest.raises(OSError, match="removed"):
        file.sync()
    file.reopen()
    file.append("two")
    file.close()
    assert [e.text for e in read_journal(tmp_path / "j").entries] == ["one", "two"]


def test_a_record_that_did_not_fit_is_torn_and_the_next_one_is_whole(tmp_path):
    """A file-size limit stands in for a full disk: the write comes back short in the middle of a record."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    file = JournalFile(tmp_path)
    file.append("first")
    try:
        for room in range(1, 20):
            resource.setrlimit(resource.RLIMIT_FSIZE, (file.path.stat().st_size + room, hard))
            with pytest.raises(OSError):
                file.append("does not fit in what is left")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    file.append("second")
    file.close()
    assert [e.text for e in read_journal(tmp_path).entries] == ["first", "second"]
    assert read_journal(tmp_path).missing == 0


def test_a_record_without_room_for_its_line_break_counts(tmp_path):
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    file = JournalFile(tmp_path)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(line_of(1, "just fits")) - 1, hard))
        assert file.append("just fits") == 1
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert file.append("next") == 2
    file.close()
    assert [e.text for e in read_journal(tmp_path).entries] == ["just fits", "next"]


def _endless(folder, pipe):
    file = JournalFile(folder, segment_bytes=4000)
    while True:
        number = file.append("sample 1.0,2.0,3.0")
        file.sync()
        os.write(pipe, b"%d\n" % number)


def test_killed_at_random_moments_no_acknowledged_record_is_lost(tmp_path):
    context = multiprocessing.get_context("fork")
    rng = random.Random(3)
    acknowledged = kills = 0
    while kills < 12 or acknowledged <= 50:  # a busy disk gets there later
        kills += 1
        read_end, write_end = os.pipe()
        child = context.Process(target=_endless, args=(tmp_path, write_end))
        child.start()
        os.close(write_end)
        said = os.read(read_end, 100)  # it has begun
        time.sleep(rng.uniform(0.0, 0.05))
        child.kill()
        child.join()
        while more := os.read(read_end, 1 << 16):
            said += more
        os.close(read_end)
        acknowledged = max(acknowledged, *(int(n) for n in said.rpartition(b"\n")[0].split()))
        journal = read_journal(tmp_path)
        assert journal.missing == 0
        assert [e.sequence for e in journal.entries] == list(range(1, len(journal.entries) + 1))
        assert len(journal.entries) >= acknowledged


def test_state_survives_a_cut_at_every_byte(tmp_path):
    path = tmp_path / "state.json"
    durable.save_state(path, {"run": 1})
    durable.save_state(path, {"run": 2, "text": "°"})
    assert durable.load_state(path) == {"run": 2, "text": "°"}
    data = path.read_bytes()
    for cut in range(len(data)):
        path.write_bytes(data[:cut])
        assert durable.load_state(path) == {"run": 1}
    for place in range(len(data)):
        path.write_bytes(data[:place] + bytes([data[place] ^ 0x10]) + data[place + 1 :])
        assert durable.load_state(path) in ({"run": 1}, {"run": 2, "text": "°"})
    # Saving over a damaged one keeps the good one before it.
    durable.save_state(path, {"run": 3})
    path.write_bytes(b"")
    assert durable.load_state(path) == {"run": 1}
    assert durable.load_state(tmp_path / "none") is None


def test_a_failed_write_leaves_the_old_file(tmp_path):
    path = tmp_path / "f"
    durable.write_whole(path, b"old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2, hard))
        with pytest.raises(OSError):
            durable.write_whole(path, b"new and longer")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert path.read_bytes() == b"old" and [p.name for p in tmp_path.iterdir()] == ["f"]
