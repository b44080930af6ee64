"""`bench`: the board's world, and `bench.run()`, which runs `main.py` in it."""

import contextlib
import importlib.abc
import importlib.util
import re
import sys
import types

import pytest

from tests.firmware.main_bench import Bench, Ended


@pytest.fixture
def bench(monkeypatch):
    made = Bench()
    pin = made.Pin
    pin_class = types.SimpleNamespace(OUT="out", IN="in", PULL_UP="up", IRQ_RISING=1)

    class Pins:
        OUT, IN, PULL_UP, IRQ_RISING = pin_class.OUT, pin_class.IN, pin_class.PULL_UP, pin_class.IRQ_RISING

        def __new__(cls, *arguments, **more):
            return pin(*arguments, **more)

    machine = types.SimpleNamespace(
        Pin=Pins, SPI=made.SPI, WDT=made.WDT, reset_cause=lambda: 1, UART=made.UART, ADC=made.ADC
    )
    ticks = types.SimpleNamespace(
        ticks_us=lambda: made.look() & 0x3FFFFFFF,
        ticks_ms=lambda: (made.us // 1000) & 0x3FFFFFFF,
        ticks_diff=lambda a, b: ((a - b + (1 << 29)) & 0x3FFFFFFF) - (1 << 29),
        ticks_add=lambda a, b: (a + b) & 0x3FFFFFFF,
    )
    stream = types.SimpleNamespace(
        buffer=types.SimpleNamespace(readinto=made.readinto, write=lambda view: made.sent.extend(view))
    )
    poll = types.SimpleNamespace(register=lambda *told: made.told.append(told), poll=made.poll)
    stand_ins = {
        "machine": machine,
        "time": ticks,
        "select": types.SimpleNamespace(poll=lambda: poll, POLLIN=1),
        "micropython": types.SimpleNamespace(kbd_intr=made.told.append),
        **{n: importlib.import_module(f"kilnctl.firmware.{n}") for n in ("chips", "frames", "logic", "meter")},
    }
    real = sys.modules["sys"]

    def run(**settings):
        """`main.py` until the plan says that it ends. `settings`: what a person edits at its top, as source."""
        found = importlib.util.find_spec("kilnctl.firmware.main")
        assert found is not None and isinstance(found.loader, importlib.abc.InspectLoader)
        source = found.loader.get_source(found.name)
        assert source is not None
        for name, value in settings.items():
            source, count = re.subn(rf"(?m)^{name} = .*$", f"{name} = {value}", source)
            assert count == 1
        program = compile(source, found.origin or "main.py", "exec")
        fake = types.SimpleNamespace(stdin=stream, stdout=stream)
        with monkeypatch.context() as patch:
            for name, module in {**stand_ins, "sys": fake}.items():
                patch.setitem(real.modules, name, module)
            with contextlib.suppress(Ended):
                exec(program, {"__name__": "__main__"})

    made.run = run
    return made
