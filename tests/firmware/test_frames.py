"""The format of the line, byte by byte: computer and board of other releases must agree while VERSION is the same."""

import pytest

from kilnctl.firmware import frames

SIZE = frames.REQUEST


def sealed(payload: bytes) -> bytes:
    room, wire = bytearray(payload + bytes(frames.CRC)), bytearray(2 * len(payload) + 20)
    wire[:] = b"\xaa" * len(wire)
    return bytes(wire[: frames.seal(room, len(payload), wire)])


def fed(receiver: frames.Receiver, data: bytes) -> list[bytes]:
    """The good frames that end in `data`."""
    return [bytes(receiver.payload[: receiver.size]) for byte in data if receiver.take(byte)]


def stuffed(data: bytes) -> bytes:
    """COBS as its paper describes it, of less than 254 bytes: each piece between zeros behind its length + 1."""
    return b"".join(bytes([len(piece) + 1]) + piece for piece in data.split(b"\0")) + b"\0"


def test_the_bits_on_the_wire_stay_what_version_1_says():
    inputs = (frames.IN_CONTACTOR, frames.IN_DOOR, frames.IN_AIRFLOW, frames.IN_ZERO_CROSS)
    wired = (frames.HAS_CONTACTOR, frames.HAS_DOOR, frames.HAS_AIRFLOW)
    assert frames.VERSION == 1
    assert inputs + wired == (1, 2, 4, 8, 16, 32, 64)
    assert (frames.HAS_SUPPLY, frames.HAS_CURRENT, frames.CONTACTOR) == (1, 2, 1)


def test_crc_24_of_the_usual_check_string():
    """Check value of CRC-24 of RFC 9580 for "123456789", as catalogues of CRCs list it (from memory)."""
    assert frames.crc24(b"123456789", 9) == 0x21CF02


@pytest.mark.parametrize(
    "payload", [bytes(SIZE), bytes(range(SIZE)), bytes([7] * SIZE), b"\1\0\2" * 4, b"\0\0\3\4" * 3]
)
def test_a_frame_is_cobs_of_payload_and_crc_and_a_zero(payload):
    crc = frames.crc24(payload, SIZE).to_bytes(3, "little")
    assert sealed(payload) == stuffed(payload + crc)
    assert fed(frames.Receiver(SIZE), sealed(payload)) == [payload]


def test_numbers_are_little_endian_wherever_they_stand():
    buffer = bytearray(b"\xee" * 8)
    frames.put32(buffer, 3, 0x0A1B2C3D)
    assert buffer == b"\xee\xee\xee\x3d\x2c\x1b\x0a\xee" and frames.get32(buffer, 3) == 0x0A1B2C3D
    assert frames.get32(bytearray(b"\1\2\3\4\5\6\7\x08"), 2) == int.from_bytes(b"\3\4\5\6", "little")
    frames.put16(buffer, 0, 0x0102)
    assert buffer[:3] == b"\2\1\xee" and frames.get16(buffer, 0) == 0x0102


GOOD = sealed(bytes(range(1, SIZE + 1)))
LONGER = sealed(bytes(range(1, SIZE + 2)))
SHORTER = sealed(bytes(range(1, SIZE)))


@pytest.mark.parametrize(
    "damaged",
    [
        GOOD[:5] + bytes([GOOD[5] ^ 1]) + GOOD[6:],  # a bit
        GOOD[:5] + GOOD[6:],  # a byte less: the count does not end
        GOOD[:-2] + b"\0",
        LONGER,
        SHORTER,
        b"\1\0",  # one zero of payload
        b"\5\0",  # a code byte alone
        bytes([255] * 60) + b"\0",
        bytes([1] * 60) + b"\0",
    ],
)
def test_a_damaged_frame_is_counted_once_and_the_next_one_is_taken(damaged):
    receiver = frames.Receiver(SIZE)
    assert fed(receiver, damaged) == [] and receiver.bad == 1
    assert len(fed(receiver, GOOD)) == 1 and receiver.bad == 1


def test_empty_frames_count_as_nothing():
    """A zero before a frame clears the line; it is no damage."""
    receiver = frames.Receiver(SIZE)
    assert len(fed(receiver, b"\0\0\0" + GOOD + b"\0" + GOOD)) == 2 and receiver.bad == 0


def test_a_frame_too_long_stays_bad_even_if_what_follows_it_would_fit():
    receiver = frames.Receiver(SIZE)
    assert fed(receiver, LONGER[:-1] + GOOD) == [] and receiver.bad == 1
    tail = stuffed(bytes(range(1, SIZE + 1)))[:-1]
    assert fed(receiver, tail + GOOD) == [] and receiver.bad == 2


@pytest.mark.parametrize("more", [b"\7", b"\7\7", b"\0", b"\0\0\7"])
def test_a_good_frame_with_more_behind_its_crc_is_damaged(more):
    payload = bytes(range(1, SIZE + 1))
    whole = payload + frames.crc24(payload, SIZE).to_bytes(3, "little")
    receiver = frames.Receiver(SIZE)
    assert fed(receiver, stuffed(whole)) == [payload]
    assert fed(receiver, stuffed(whole + more)) == [] and receiver.bad == 1
    assert fed(receiver, stuffed(whole)) == [payload] and receiver.bad == 1


def test_the_count_of_damaged_frames_wraps_at_16_bits():
    receiver = frames.Receiver(SIZE)
    receiver.bad = 0xFFFF
    assert fed(receiver, b"\5\0") == [] and receiver.bad == 0
