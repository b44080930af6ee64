"""The virtual rig keeps the protocol's promises."""

import math

import pytest

from kilnctl.firing import Burst
from kilnctl.rig import RigDriver, VirtualRig
from kilnctl.safety import Permit

NOTHING = Burst(50, (0,), (), 0.0)
FULL = Burst(50, (50,), ((True, 50),), 1.0)


@pytest.fixture
def rig(oven):
    return VirtualRig(oven("bench-muffle"))


def test_it_is_a_rig(rig):
    assert isinstance(rig, RigDriver)
    assert rig.facts.unattended


def test_heat_warms_it_and_close_ends_that(rig):
    rig.contactor(True)
    cold = rig.read().chamber_c
    rig.heat(1.0, FULL, Permit(0.0, 2.0, 1))
    warm = max(rig.read().chamber_c for _ in range(240))
    assert warm > cold + 20.0
    rig.close()
    rig.close()
    rig.contactor(True)
    assert rig.read().contactor_closed is False


def test_relay_alone_and_contactor_alone_heat_nothing(rig):
    rig.heat(1.0, FULL, Permit(0.0, 2.0, 1))
    first = rig.read()
    assert not first.fired
    rig.heat(0.0, NOTHING, None)
    rig.contactor(True)
    rig.read()
    assert not rig.read().fired


@pytest.mark.parametrize(
    ("duty", "burst", "permit"),
    [
        (0.5, FULL, None),
        (0.9, FULL, Permit(0.0, 2.0, 1, 0.5)),
        (math.nan, FULL, Permit(0.0, 2.0, 1)),
        (0.0, FULL, Permit(0.0, 2.0, 1)),
        (1.5, FULL, Permit(0.0, 2.0, 1)),
        (-0.1, NOTHING, Permit(0.0, 2.0, 1)),
    ],
)
def test_heat_without_leave_is_refused(rig, duty, burst, permit):
    with pytest.raises(ValueError, match=r"permit|0 to 1|let through"):
        rig.heat(duty, burst, permit)
