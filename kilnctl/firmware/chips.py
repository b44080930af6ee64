# Thermocouple converter chips: words to numbers. Runs on MicroPython and on CPython; nothing here allocates more than
# small integers.
#
# Numbers are integers in units of 1/128 degC, faults are bits of one word: the same on board and host.
# Bit layouts: data sheet of the MAX31855 (19-5793, tables 2 to 5) and register map of the MAX31856 (data sheet
# 19-7534).

OPEN, SHORT_GROUND, SHORT_SUPPLY, NO_CHIP, BUS_ERROR, COLD_RANGE = 1, 2, 4, 8, 16, 32
#: No thermocouple gives a reading outside this range, degC.
LOWEST, HIGHEST = -270, 1820


def decode_31855(high, low):
    """(hot, cold, faults) of the 32-bit word, given as two halves (32 bits do not fit a small integer of a 32-bit
    board); hot and cold in 1/128 degC. With a fault, hot is not valid."""
    if (high | low) == 0 or (high & low) == 0xFFFF:
        # All bits equal: nothing drives the line. Zero would otherwise read as a plausible 0 degC.
        return 0, 0, NO_CHIP
    cold = low >> 4
    if cold & 0x800:
        cold -= 0x1000
    hot = high >> 2
    if hot & 0x2000:
        hot -= 0x4000
    bits = low & 7
    if high & 2 or low & 8 or (1 if bits else 0) != (high & 1) or (bits & (bits - 1)):
        # Bits that are always 0, a summary that does not fit, or two faults that exclude each other: not this chip's
        # word.
        return hot * 32, cold * 8, BUS_ERROR
    faults = (OPEN if bits & 1 else 0) | (SHORT_GROUND if bits & 2 else 0) | (SHORT_SUPPLY if bits & 4 else 0)
    if not faults and not LOWEST * 4 <= hot <= HIGHEST * 4:
        faults = BUS_ERROR
    return hot * 32, cold * 8, faults


#: Letter → value of bits 3:0 of register CR1.
TYPES_31856 = {"B": 0, "E": 1, "J": 2, "K": 3, "N": 4, "R": 5, "S": 6, "T": 7}


def setup_31856(kind, mains_hz):
    """(CR0, CR1, MASK): converting on its own, open-circuit detection for up to 5 kOhm, comparator mode, a notch for
    that mains frequency, 4 samples averaged, that thermocouple; every fault drives the fault pin. To be written while
    the chip is not converting, and read back."""
    return 0x90 | (1 if mains_hz == 50 else 0), 0x20 | TYPES_31856[kind], 0x00


def configured_31856(registers, wanted):
    """Whether CR0, CR1 and MASK read back as written. Chips have been seen to lose them after a glitch on the select
    line."""
    return (registers[0] & 0xFD) == (wanted[0] & 0xFD) and registers[1] == wanted[1] and registers[2] == wanted[2]


def decode_31856(cj_high, cj_low, high, middle, low, status):
    """(hot, cold, faults) of the registers 0x0A to 0x0F; hot and cold in 1/128 degC."""
    ones = cj_high & cj_low & high & middle & low & status
    any_bit = cj_high | cj_low | high | middle | low | status
    if ones == 0xFF or any_bit == 0:
        return 0, 0, NO_CHIP
    hot = (high << 11) | (middle << 3) | (low >> 5)
    if hot & 0x40000:
        hot -= 0x80000
    cold = (cj_high << 6) | (cj_low >> 2)
    if cold & 0x2000:
        cold -= 0x4000
    faults = 0
    if status & 0x01:
        faults |= OPEN
    if status & 0x02:
        faults |= SHORT_SUPPLY  # over- or undervoltage at an input
    if status & 0x80:
        faults |= COLD_RANGE
    if low & 0x1F or cj_low & 0x03:
        faults |= BUS_ERROR  # bits that are always 0
    if status & 0x40 or not LOWEST * 128 <= hot <= HIGHEST * 128:
        faults |= BUS_ERROR if not faults else 0
    return hot, cold * 2, faults


# The 31855 treats a type K thermocouple as a straight line and reads up to 30 K too low at high temperatures. For the
# board's own ceiling a table is enough: true degC at every 100 degC that the chip shows, terminals at 25 degC; made
# from ITS-90, checked by a test. The host corrects each reading by the reference functions themselves.
_TRUE_K = (-1, 100, 202, 303, 402, 499, 596, 694, 793, 895, 999, 1107, 1218, 1335)


def true_k(hot):
    """True temperature, 1/128 degC, behind a 31855's type K reading in 1/128 degC: within 3 K up to 1300 degC shown,
    and above that never below the truth."""
    if hot <= 0:
        return hot
    place = hot // 12800
    if place > 12:
        return _TRUE_K[13] * 128 + (hot - 166400) * 2
    low = _TRUE_K[place] * 128
    return low + (_TRUE_K[place + 1] - _TRUE_K[place]) * (hot - place * 12800) // 100
