"""Which tests hold a module of `kilnctl.safety` to the letter (marker `letter`): tools/check runs these measured, and
they must reach every line and branch of it."""

from pathlib import Path

import pytest

HERE = Path(__file__).parent
MODULES = {path.stem for path in (HERE.parents[1] / "kilnctl" / "safety").glob("*.py")}
#: Measuring makes Python several times slower: what simulates for long is left out, and fault_table.py only reads data.
SIMULATES = ("against_simulation", "AnySequence")


def of_a_module(stem: str) -> bool:
    """Whether a test file is named after a module: test_MODULE.py, test_MODULE_more.py."""
    name = stem.removeprefix("test_")
    return name != "fault_table" and any(name == module or name.startswith(f"{module}_") for module in MODULES)


def pytest_collection_modifyitems(items):
    for item in items:
        if item.path.parent == HERE and of_a_module(item.path.stem) and not any(s in item.nodeid for s in SIMULATES):
            item.add_marker(pytest.mark.letter)
