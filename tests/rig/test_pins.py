"""This computer's own pins, on stand-ins for the GPIO and SPI modules: they note every level and answer as a MAX31856
does."""

import contextlib
import dataclasses
import types
from itertools import pairwise
from typing import ClassVar

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.firing import Burst
from kilnctl.rig import RigLost, pins
from kilnctl.rig.pins import PinsRig
from kilnctl.safety import Permit
from kilnctl.settings.equipment import Pins

RELAY, COIL, PULSE, CONTACT = 17, 27, 22, 5
HOT_100 = [25, 0, 6, 64, 0, 0]  # data sheet: linearised 0x064000 is 100 °C, junction 25 °C, no fault


class Chip:
    """One GPIO chip as gpiod 2 shows it."""

    def __init__(self, clock):
        self.clock = clock
        self.levels, self.history, self.released, self.broken = {}, [], False, False
        direction, value = types.SimpleNamespace(INPUT="in", OUTPUT="out"), types.SimpleNamespace(ACTIVE=1, INACTIVE=0)
        self.line = types.SimpleNamespace(Direction=direction, Value=value, Bias=types.SimpleNamespace(PULL_UP="up"))
        self.settings = {}

    def LineSettings(self, **given):
        return given

    def request_lines(self, chip, consumer, config):
        self.settings = config
        self.levels = {n: s["output_value"] for n, s in config.items() if s["direction"] == "out"}
        return self

    def set_value(self, number, value):
        if self.broken:
            raise OSError(19, "No such device")
        self.levels[number] = value
        self.history.append((self.clock.monotonic(), number, value))

    def get_value(self, number):
        # The auxiliary contact pulls its line low while the contactor is closed.
        return 1 - self.levels[COIL]

    def release(self):
        self.released = True


class Bus:
    """One converter behind spidev."""

    made: ClassVar[list] = []

    def __init__(self):
        self.registers, self.answer, self.forgets = [0, 3, 0xFF], HOT_100, False
        Bus.made.append(self)

    def open(self, bus, device):
        self.device = device

    def close(self):
        self.device = None

    def xfer2(self, data):
        if data[0] == 0x80:
            if not self.forgets:
                self.registers = data[1:4]
            return [0] * len(data)
        return [0, *self.registers] if data[0] == 0 else [0, *self.answer]


@pytest.fixture
def cabinet(oven):
    described = oven("curing-cabinet")
    pins = Pins(chip="/dev/gpiochip0", relays=(RELAY,), coil=COIL, pulse=PULSE, contactor=CONTACT)
    control = dataclasses.replace(described.sensors.control, front_end="max31856")
    sensors = dataclasses.replace(described.sensors, control=control, limit=dataclasses.replace(control), part=None)
    rig = dataclasses.replace(described.rig, kind="pins", pins=pins)
    return dataclasses.replace(
        described, rig=rig, sensors=sensors, switching=dataclasses.replace(described.switching, relays=1)
    )


@pytest.fixture
def desk(cabinet, clock):
    Bus.made = []
    chip = Chip(clock)
    rig = PinsRig(cabinet, gpio=chip, spi=types.SimpleNamespace(SpiDev=Bus))
    yield rig, chip
    rig.close()


@pytest.fixture
def heat(clock):
    """`heat(rig, seconds, duty=0.5)` → the reading after ten ticks a second for so long."""

    def ticks(rig, seconds, duty=0.5):
        end, step = clock.monotonic() + seconds, int(clock.monotonic() * 10) & 0x3FFF
        while clock.monotonic() < end:
            step += 1
            rig.contactor(True)
            rig.heat(duty, Burst(5, (round(5 * duty),), (), duty), Permit(0.0, 2.0, step))
            clock.sleep(0.1)
        return rig.read()

    return ticks


def lost(rig):
    """Why the rig is lost; empty while it is not."""
    try:
        rig.read()
    except RigLost as error:
        return str(error)
    return ""


def test_lines_start_low_and_heat_is_whole_cycles_behind_a_closed_contactor(desk, heat):
    rig, chip = desk
    assert all(chip.settings[n] == {"direction": "out", "output_value": 0} for n in (RELAY, COIL, PULSE))
    reading = heat(rig, 1.2)
    assert (
        reading.chamber_c == pytest.approx(100.0, abs=0.5) and reading.contactor_closed is True and not reading.faults
    )
    assert reading.fired is None, "a commanded cycle proves nothing; there is no current meter"
    relay = [(t, v) for t, n, v in chip.history if n == RELAY]
    first = next(t for t, v in relay if v)
    assert first > next(t for t, n, v in chip.history if n == COIL and v) + 0.09, (
        "the contactor never closes on a live relay"
    )
    begun = [(t, v) for t, v in relay if t >= first]
    lit = sum(b[0] - a[0] for a, b in pairwise(begun) if a[1]) / (begun[-1][0] - first)
    assert lit == pytest.approx(0.5, abs=0.02), "half of the cycles of 20 ms, by this computer's clock"
    assert len({v for t, n, v in chip.history if n == PULSE}) == 2, (
        "the hardware timer is fed with edges, not with a level"
    )
    assert Bus.made[0].registers == [0x91, 0x23, 0], "type K, 50 Hz, converting; averages of 4; no mask"


def test_it_lets_go_when_nobody_decides_any_more(desk, until, heat, clock):
    rig, chip = desk
    heat(rig, 0.6)
    assert chip.levels[COIL] == 1
    assert until(lambda: chip.levels[COIL] == 0 and chip.levels[RELAY] == 0, 3.0)
    fed = len([1 for _, n, _ in chip.history if n == PULSE])
    clock.sleep(0.3)
    assert len([1 for _, n, _ in chip.history if n == PULSE]) == fed, (
        "no pulses while it is latched: the hardware timer opens as well"
    )
    assert until(lambda: "board-fault" in rig.read().faults)
    rig.clear()
    assert until(lambda: "board-fault" not in rig.read().faults)


def test_after_a_suspend_it_lets_go_whatever_is_asked_first(desk, monkeypatch, heat, clock):
    rig, chip = desk
    heat(rig, 0.6)
    assert chip.levels[COIL] == 1
    monkeypatch.setattr(pins, "passed_s", lambda: clock.monotonic() + 3600.0)
    heat(rig, 0.4)
    assert (
        chip.levels[COIL] == 0
        and chip.levels[RELAY] == 0
        and "board-fault" in rig.read().faults
        and "late" in rig.words()
    )


def test_a_converter_that_forgot_its_settings_is_not_believed(desk, until, heat):
    rig, _ = desk
    heat(rig, 0.3)
    Bus.made[0].forgets, Bus.made[0].registers = True, [0, 3, 0xFF]
    assert until(lambda: "no-chip" in rig.read().faults)


def test_pins_that_fail_are_a_lost_rig_and_close_lets_go_of_them(desk, until, heat):
    rig, chip = desk
    heat(rig, 0.3)
    chip.broken = True
    assert until(lambda: lost(rig), 4.0)
    with pytest.raises(RigLost, match="lines could not be switched off"):
        rig.read()
    rig.close()
    assert chip.released and all(b.device is None for b in Bus.made)


def test_one_line_that_cannot_be_driven_keeps_no_other_from_going_off(desk, until, heat):
    rig, chip = desk
    heat(rig, 1.0)
    assert until(lambda: chip.levels[RELAY] == chip.levels[COIL] == 1, 4.0)
    drive, chip.set_value = (
        chip.set_value,
        lambda number, value: drive(number, value) if number != COIL else (_ for _ in ()).throw(OSError(5, "stuck")),
    )
    assert until(lambda: chip.levels[RELAY] == 0 and lost(rig), 4.0) and "stuck" in lost(rig)


def test_without_the_pulse_fed_timer_nobody_may_leave_the_oven(cabinet, desk, clock):
    assert desk[0].facts.unattended and not any("freezes" in u for u in desk[0].facts.unproved)
    bare = dataclasses.replace(
        cabinet, rig=dataclasses.replace(cabinet.rig, pins=dataclasses.replace(cabinet.rig.pins, pulse=None))
    )
    rig = PinsRig(bare, gpio=Chip(clock), spi=types.SimpleNamespace(SpiDev=Bus))
    try:
        assert not rig.facts.unattended and any("freezes" in u for u in rig.facts.unproved)
    finally:
        rig.close()


def test_an_old_module_and_busy_lines_are_told(cabinet, clock):
    with pytest.raises(KilnctlError, match="version 1"):
        PinsRig(cabinet, gpio=types.SimpleNamespace(), spi=types.SimpleNamespace(SpiDev=Bus))
    chip = Chip(clock)
    chip.request_lines = lambda *a, **k: (_ for _ in ()).throw(OSError(16, "Device or resource busy"))
    with pytest.raises(KilnctlError, match="busy"):
        PinsRig(cabinet, gpio=chip, spi=types.SimpleNamespace(SpiDev=Bus))


def hangs(monkeypatch, where, name, gate):
    real = getattr(where, name)

    def hanging(*arguments):
        gate.wait(60.0)
        return real(*arguments)

    monkeypatch.setattr(where, name, hanging)


def test_a_hung_bus_holds_neither_relay_nor_coil_and_close_returns(desk, monkeypatch, heat, clock):
    rig, chip = desk
    heat(rig, 0.5)
    assert chip.levels[COIL] == 1
    gate = clock.Event()
    try:
        hangs(monkeypatch, Bus, "xfer2", gate)
        hung_s = clock.monotonic()
        with contextlib.suppress(RigLost):
            heat(rig, 3.0, duty=1.0)
        assert chip.levels[COIL] == 0 and chip.levels[RELAY] == 0
        off_s = next(t for t, n, v in reversed(chip.history) if n == COIL and v == 1) - hung_s
        assert off_s < 1.0, f"the coil was driven to {off_s:.2f} s"
        assert "hangs" in lost(rig) and "by itself" not in lost(rig), "nothing lets go by itself here"
        rig.close()
        assert clock.monotonic() - hung_s < 5.0 and chip.released
    finally:
        gate.set()


def test_a_hung_line_is_told_as_it_is_and_close_returns(desk, monkeypatch, heat, clock):
    rig, chip = desk
    heat(rig, 0.5)
    gate = clock.Event()
    try:
        hangs(monkeypatch, chip, "set_value", gate)
        hung_s = clock.monotonic()
        with contextlib.suppress(RigLost):
            heat(rig, 3.0)
        assert "SWITCH OFF AT THE MAIN SWITCH" in lost(rig) and "by itself" not in lost(rig)
        rig.close()
        assert clock.monotonic() - hung_s < 5.0
    finally:
        gate.set()
