"""The room's constants against CODATA, and no scipy is imported with them."""

import subprocess
import sys

import pytest
import scipy.constants

from kilnctl.thermal import constants

MODULES = (
    "air",
    "box",
    "bridges",
    "constants",
    "elements",
    "enclosure",
    "its90",
    "library",
    "material_data",
    "surfaces",
    "thermocouples",
    "walls",
)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("STEFAN_BOLTZMANN", "Stefan_Boltzmann"), ("GAS_CONSTANT", "R"), ("GRAVITY", "g"), ("ZERO_C", "zero_Celsius")],
)
def test_constants_against_codata(ours, theirs):
    # Older scipy prints σ with fewer digits; all four are exact in today's SI.
    assert getattr(constants, ours) == pytest.approx(getattr(scipy.constants, theirs), rel=1e-9)


def imported_with(modules):
    """Names of the packages that a fresh interpreter has loaded after importing these modules of the room."""
    code = ";".join(f"import kilnctl.thermal.{name}" for name in modules)
    code += ";import sys;print(*{name.split('.')[0] for name in sys.modules})"
    return set(subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.split())


def test_the_room_imports_no_scipy():
    assert "scipy" not in imported_with(MODULES)


def test_thermocouples_for_the_tick_import_no_numpy():
    assert not {"numpy", "scipy"} & imported_with(["thermocouples"])
