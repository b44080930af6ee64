# The line between computer and I/O board. Runs on MicroPython and on CPython; in the cycle path nothing is allocated.
#
# A frame on the wire is COBS(payload + CRC-24) and a zero byte. COBS: Cheshire and Baker, IEEE/ACM Trans. Networking
# 7(2), 1999. CRC-24: RFC 9580, section 6.1 (polynomial 0x864CFB, start 0xB704CE); it fits a small integer of a 32-bit
# board, a CRC-32 does not. All numbers are unsigned and little-endian. The computer asks and the board answers; the
# board never sends anything unasked.
#
# Request, 12 bytes: kind, sequence, then by kind
#   BEAT   step (2), duty in 1/10000 (2), flags (1)
#   SETUP  smallest current that counts in 1/100 A (2), ceiling in degC (2), 0, groups (1), shortest run in cycles (2),
#          channels that want the type K table as bits (1)
#   others nothing; what is not used is zero
# Answer, 72 bytes: see A_*; its kind is the request's with the top bit set.

VERSION = 1

HELLO, SETUP, ARM, BEAT, REST, CLEAR = 1, 2, 3, 4, 5, 6
KINDS = (HELLO, SETUP, ARM, BEAT, REST, CLEAR)
REQUEST, ANSWER, CRC = 12, 72, 3
LONGEST = ANSWER + CRC

CONTACTOR = 1  # flag of a BEAT: the contactor shall be closed

#: Places in an answer.
A_KIND, A_SEQ, A_VERSION, A_STATE, A_FAULTS, A_INPUTS, A_OUTPUTS = 0, 1, 2, 3, 4, 6, 7
A_RESET, A_REFUSED, A_BOOT, A_UPTIME, A_STEP, A_CYCLES, A_FIRED = 8, 9, 10, 12, 16, 18, 22
A_SUPPLY, A_CURRENT, A_CEILING, A_DUTY, A_CHANNELS = 26, 28, 30, 32, 34
#: Damaged frames so far; shortest run; sum over the mains cycles of the current in 1/100 A, and how many cycles had
#: any; mains Hz.
A_BAD, A_SHORTEST, A_FLOW, A_FLOWING, A_HZ, A_METERS = 58, 60, 62, 66, 70, 71
#: Each of three channels: chip (0 none, 1 MAX31855, 2 MAX31856), conversions counter, 6 bytes raw.
CHANNEL = 8
#: Bits of the inputs: what is wired, and what it says.
IN_CONTACTOR, IN_DOOR, IN_AIRFLOW, IN_ZERO_CROSS, HAS_CONTACTOR, HAS_DOOR, HAS_AIRFLOW = 1, 2, 4, 8, 16, 32, 64
#: Bits of the meters.
HAS_SUPPLY, HAS_CURRENT = 1, 2

# Remainders of the 16 values of half a byte.
_TABLE = (
    0x000000,
    0x864CFB,
    0x8AD50D,
    0x0C99F6,
    0x93E6E1,
    0x15AA1A,
    0x1933EC,
    0x9F7F17,
    0xA18139,
    0x27CDC2,
    0x2B5434,
    0xAD18CF,
    0x3267D8,
    0xB42B23,
    0xB8B2D5,
    0x3EFE2E,
)


def crc24(data, count):
    """CRC-24 of the first `count` bytes."""
    crc = 0xB704CE
    for i in range(count):
        byte = data[i]
        crc = ((crc << 4) & 0xFFFFFF) ^ _TABLE[(crc >> 20) ^ (byte >> 4)]
        crc = ((crc << 4) & 0xFFFFFF) ^ _TABLE[(crc >> 20) ^ (byte & 15)]
    return crc


def put16(buffer, place, value):
    buffer[place] = value & 0xFF
    buffer[place + 1] = (value >> 8) & 0xFF


def get16(buffer, place):
    return buffer[place] | (buffer[place + 1] << 8)


def put32(buffer, place, value):
    put16(buffer, place, value & 0xFFFF)
    put16(buffer, place + 2, (value >> 16) & 0xFFFF)


def get32(buffer, place):
    return get16(buffer, place) | (get16(buffer, place + 2) << 16)


def seal(payload, count, wire):
    """Write the frame of payload[:count] into `wire`; returns its length. `payload` has room for the CRC behind it."""
    crc = crc24(payload, count)
    payload[count] = crc & 0xFF
    payload[count + 1] = (crc >> 8) & 0xFF
    payload[count + 2] = (crc >> 16) & 0xFF
    mark, out, run = 0, 1, 1
    for i in range(count + CRC):
        byte = payload[i]
        if byte:
            wire[out] = byte
            out += 1
            run += 1
        if not byte:
            wire[mark] = run
            mark, out, run = out, out + 1, 1
    wire[mark] = run
    wire[out] = 0
    return out + 1


class Receiver:
    """Takes bytes, one at a time; `payload` holds the last whole frame."""

    def __init__(self, size):
        self.size = size  # payload without CRC
        self.payload = bytearray(size + CRC)
        self.bad = 0  # frames that were not whole or not ours
        self._count = 0
        self._left = 0
        self._lost = False

    def take(self, byte):
        """True when this byte ends a good frame of the right length."""
        if byte == 0:
            good = not self._lost and self._left == 1 and self._count == self.size + CRC
            empty = self._left == 0
            self._left, self._count, self._lost = 0, 0, False
            if good:
                p, end = self.payload, self.size
                crc = p[end] | (p[end + 1] << 8) | (p[end + 2] << 16)
                good = crc == crc24(p, end)
            if not good and not empty:
                self.bad = (self.bad + 1) & 0xFFFF
            return good
        if self._left <= 1:
            # A code byte: the number of bytes before the next zero of the payload.
            if self._left == 1:
                self._put(0)
            self._left = byte
        else:
            self._left -= 1
            self._put(byte)
        return False

    def _put(self, byte):
        if self._count >= self.size + CRC:
            self._lost = True
        else:
            self.payload[self._count] = byte
            self._count += 1
