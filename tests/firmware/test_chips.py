"""What each bit of a converter's word means, at the edges. Bit layouts: data sheets 19-5793 and 19-7534; readings out
of a thermocouple's range, and bits that the chip never sets, are faults of the line."""

import pytest

from kilnctl.firmware import chips

#: 25 °C at the terminals, in the low half of a 31855's word.
COLD = 25 * 16 << 4


def of_31855(hot_c: float, bits: int = 0, summary: int | None = None, low: int = COLD) -> tuple[int, int, int]:
    quarter = round(hot_c * 4) & 0x3FFF
    return chips.decode_31855(quarter << 2 | (bool(bits) if summary is None else summary), low | bits)


def of_31856(hot_128: int, status: int = 0, low_bits: int = 0, cold_bits: int = 0) -> tuple[int, int, int]:
    word = (hot_128 & 0x7FFFF) << 5 | low_bits
    return chips.decode_31856(25, cold_bits, word >> 16, (word >> 8) & 0xFF, word & 0xFF, status)


def test_the_bits_of_a_fault_stay_what_version_1_says():
    faults = (chips.OPEN, chips.SHORT_GROUND, chips.SHORT_SUPPLY, chips.NO_CHIP, chips.BUS_ERROR, chips.COLD_RANGE)
    assert faults == (1, 2, 4, 8, 16, 32) and (chips.LOWEST, chips.HIGHEST) == (-270, 1820)


@pytest.mark.parametrize("hot_c, fault", [(-270, 0), (-270.25, chips.BUS_ERROR), (1820, 0), (1820.25, chips.BUS_ERROR)])
def test_a_reading_of_the_31855_that_no_thermocouple_gives(hot_c, fault):
    assert of_31855(hot_c) == (round(hot_c * 128), 25 * 128, fault)


@pytest.mark.parametrize(
    "bits, fault",
    [(1, chips.OPEN), (2, chips.SHORT_GROUND), (4, chips.SHORT_SUPPLY), (3, 16), (5, 16), (6, 16), (7, 16)],
)
def test_fault_bits_of_the_31855_exclude_each_other(bits, fault):
    assert of_31855(100.0, bits)[1:] == (25 * 128, fault)
    assert of_31855(100.0, bits, summary=0)[2] == chips.BUS_ERROR, "the summary bit must say so too"
    assert of_31855(2000.0, bits)[2] == fault, "with a fault the temperature means nothing"


def test_bits_that_a_31855_never_sets():
    high, low = 400 << 2, COLD
    assert chips.decode_31855(high, low) == (100 * 128, 25 * 128, 0)
    assert chips.decode_31855(high | 1, low) == (100 * 128, 25 * 128, chips.BUS_ERROR)
    assert chips.decode_31855(high | 2, low)[2] == chips.decode_31855(high, low | 8)[2] == chips.BUS_ERROR


@pytest.mark.parametrize(
    "high, low, fault", [(0, 0, 8), (0xFFFF, 0xFFFF, 8), (0, 1, 16), (0xFFFF, 0xFFFE, 16), (4, 0, 0)]
)
def test_no_chip_is_all_bits_alike(high, low, fault):
    found = chips.decode_31855(high, low)
    assert found[2] == fault and (fault != chips.NO_CHIP or found[:2] == (0, 0))


@pytest.mark.parametrize("cold_16", [-1, -(0x800), 0x7FF, 0, 1])
def test_terminals_of_the_31855_have_a_sign(cold_16):
    assert of_31855(100.0, low=(cold_16 & 0xFFF) << 4)[1] == cold_16 * 8


@pytest.mark.parametrize(
    "hot_128, fault", [(-270 * 128, 0), (-270 * 128 - 1, 16), (1820 * 128, 0), (1820 * 128 + 1, 16)]
)
def test_a_reading_of_the_31856_that_no_thermocouple_gives(hot_128, fault):
    assert of_31856(hot_128) == (hot_128, 25 * 128, fault)


@pytest.mark.parametrize(
    "status, fault", [(1, 1), (2, 4), (0x80, 32), (0x40, 16), (0x41, 1), (0x83, 37), (4, 0), (8, 0)]
)
def test_status_bits_of_the_31856(status, fault):
    assert of_31856(100 * 128, status)[2] == fault


def test_bits_that_a_31856_never_sets():
    for bit in range(5):
        assert of_31856(100 * 128, low_bits=1 << bit) == (100 * 128, 25 * 128, chips.BUS_ERROR)
    for bit in range(2):
        assert of_31856(100 * 128, cold_bits=1 << bit) == (100 * 128, 25 * 128, chips.BUS_ERROR)
    assert of_31856(100 * 128, 1, low_bits=1)[2] == chips.OPEN | chips.BUS_ERROR
    assert of_31856(2000 * 128, 1)[2] == chips.OPEN, "with a fault the temperature means nothing"


def test_a_31856_that_is_not_there():
    assert chips.decode_31856(255, 255, 255, 255, 255, 255) == (0, 0, chips.NO_CHIP)
    assert chips.decode_31856(0, 0, 0, 0, 0, 0) == (0, 0, chips.NO_CHIP)
    for place in range(6):
        six = [0] * 6
        six[place] = 0x20
        assert chips.decode_31856(*six)[2] != chips.NO_CHIP
        assert chips.decode_31856(*(255 - b for b in six))[2] != chips.NO_CHIP


@pytest.mark.parametrize("cold_64", [-1, -0x2000, 0x1FFF, 0, 1])
def test_terminals_of_the_31856_have_a_sign(cold_64):
    bits = cold_64 & 0x3FFF
    assert chips.decode_31856(bits >> 6, (bits << 2) & 0xFF, 6, 64, 0, 0)[1] == cold_64 * 2


@pytest.mark.parametrize("hz, cr0", [(50, 0x91), (60, 0x90)])
def test_set_up_and_read_back_of_the_31856(hz, cr0):
    for letter, number in zip("BEJKNRST", range(8), strict=True):
        wanted = chips.setup_31856(letter, hz)
        assert wanted == (cr0, 0x20 | number, 0)
        assert chips.configured_31856(wanted, wanted)
        assert chips.configured_31856((cr0 | 2, *wanted[1:]), wanted), "bit 1 clears itself"
        for place in range(3):
            other = list(wanted)
            other[place] ^= 0x40
            assert not chips.configured_31856(other, wanted)


def test_the_table_of_true_temperatures_at_and_between_its_points():
    assert [chips.true_k(c * 128) for c in (-40, 0)] == [-40 * 128, 0]
    assert chips.true_k(1) == -128 + 101 * 1 // 100
    for k in range(13):
        low, high = chips._TRUE_K[k] * 128, chips._TRUE_K[k + 1] * 128
        assert k == 0 or chips.true_k(k * 12800) == low
        assert chips.true_k(k * 12800 + 6400) == low + (high - low) // 2
    assert chips.true_k(1300 * 128) == chips._TRUE_K[13] * 128
    assert chips.true_k(1310 * 128) == chips._TRUE_K[13] * 128 + 20 * 128
