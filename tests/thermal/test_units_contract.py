"""Units are a contract: what a name's ending promises, the docstring says, and every unit in a docstring can be
read."""

import dataclasses
import importlib
import inspect
import pkgutil
import re

import pytest

import kilnctl.sizing
import kilnctl.thermal
from kilnctl.body.steady import Steady
from kilnctl.sizing import LayerReport, Saving
from kilnctl.sizing.wiring import Wiring
from kilnctl.thermal.walls import WallSolution
from kilnctl.units import UnitError, parse_unit

#: Ending of a name → how a docstring may say it.
ENDINGS = {
    "_c": "°C",
    "_w": "W",
    "_w_m2": "W/m²",
    "_w_m2k": "W/(m²·K)",
    "_w_mk": "W/(m·K)",
    "_w_per_k": "W/K",
    "_mv": "mV",
    "_ohm": "ohm",
    "_kg_s": "kg/s",
    "_w_per_m2k": "W/(m²·K)",
    "_film": "W/(m²·K)",
    "_s": "s",
    "_j": "J",
}
#: Unit-like words in running text: letters or ° with · / and exponents, and the plain ones that stand behind "in" or a
#: number.
WRITTEN = re.compile(
    r"(?<![\w/·])(?:[A-Za-zµ°]{1,4}[²³⁴]?(?:·[A-Za-z°]{1,3}[²³⁴]?)*"
    r"/(?:\([A-Za-z²³·°]+\)|[A-Za-z]{1,3}[²³⁴]?(?:[A-Z])?))(?![\w(])"
)
NOT_UNITS = {
    "area/perimeter",
    "and/or",
    "Ra/Pr",
    "A/L",
    "L/A",
    "A1/A2",
    "SI/US",
    "V/V",
    "R/V",
    "I/R",
    "dE/dT",
    "Ea/R",
    "TWO/ONE",
    "n·k·A/L",
    "Δρ/ρ",
    "ρ/ρ",
    "V²/P",
}


def functions():
    for package in (kilnctl.thermal, kilnctl.sizing):
        for info in pkgutil.iter_modules(package.__path__):
            module = importlib.import_module(f"{package.__name__}.{info.name}")
            for name, thing in vars(module).items():
                if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                    continue
                if inspect.isfunction(thing):
                    yield f"{info.name}.{name}", name, thing
                elif inspect.isclass(thing):
                    for inner, method in vars(thing).items():
                        if inspect.isfunction(method) and not inner.startswith("_"):
                            yield f"{info.name}.{name}.{inner}", inner, method


FUNCTIONS = list(functions())


def test_there_is_something_to_check():
    assert len(FUNCTIONS) > 60


@pytest.mark.parametrize(
    ("where", "name", "function"),
    FUNCTIONS,
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_public_physics_is_documented_with_the_unit_of_its_answer(where, name, function):
    doc = function.__doc__ or ""
    assert doc, f"{where} has no docstring"
    ending = max((e for e in ENDINGS if name.endswith(e)), key=len, default=None)
    if ending:
        assert ENDINGS[ending] in doc, f"{where}: its docstring does not say {ENDINGS[ending]}"


@pytest.mark.parametrize(("where", "name", "function"), FUNCTIONS, ids=lambda v: v if isinstance(v, str) else "")
def test_every_unit_in_a_docstring_can_be_read(where, name, function):
    for written in WRITTEN.findall(function.__doc__ or ""):
        if written in NOT_UNITS or written.startswith(("http", "σ")):
            continue
        try:
            parse_unit(written)
        except UnitError:
            pytest.fail(f"{where}: '{written}' is not a unit that this project can read")


def test_fields_of_results_carry_their_units():
    """Every float of a result ends in a unit, or is a plain number by its name."""
    plain = {"number", "share", "voltage_drop", "step"}
    for cls in (LayerReport, Saving, Steady, Wiring, WallSolution):
        for f in dataclasses.fields(cls):
            if f.type in ("float", float):
                assert f.name in plain or f.name.endswith(("_c", "_w", "_m", "_a", "_w_m2", "_w_m2k", "_k_per_w")), (
                    cls.__name__,
                    f.name,
                )
