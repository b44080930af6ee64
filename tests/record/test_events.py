"""Which warnings are told again, and when."""

from types import SimpleNamespace

import pytest

from kilnctl import Reading
from kilnctl.record.events import BURSTS, QUIET_S, Teller, last_of_bursts
from kilnctl.safety import Policy, SafetyState, Tick, rules_loop
from kilnctl.safety.rule import Look

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def told(teller, time_s, *warnings):
    act = SimpleNamespace(
        decision=SimpleNamespace(care=1.0, swing=None, bursts_k=0.0, step=0, phase="soak"),
        verdict=SimpleNamespace(new_trips=(), warnings=warnings),
    )
    events = teller.tell(time_s, SimpleNamespace(door_open=False), act, 0)
    return [e.text for e in events if e.kind == "warning"]


@pytest.mark.parametrize("later_s, again", [(1.0, False), (QUIET_S - 0.5, False), (QUIET_S, True)])
def test_a_warning_that_lasts_is_repeated_after_ten_minutes(later_s, again):
    teller = Teller([SimpleNamespace(name="soak")])
    assert told(teller, 0.0, "the room is at 31 °C") == ["the room is at 31 °C"]
    assert bool(told(teller, later_s, "the room is at 32 °C")) is again


def test_every_step_of_the_wall_clock_is_told():
    """A second step within ten minutes was swallowed, as if it were the first one's warning that lasts."""
    teller, state = Teller([SimpleNamespace(name="soak")]), SafetyState()
    wall_s, said = 1e9, []
    for second in range(60):
        wall_s += {20: 61.0, 40: -61.0, 41: -61.0}.get(second, 1.0)
        made = Look(state, POLICY, Reading(100.0), Tick(float(second), second, 0.0, wall_s=wall_s), 1.0, 0.0)
        rules_loop.wall_clock(made)
        said += told(teller, float(second), *made.warnings)
    assert [w.split(";")[0].split("by ")[1] for w in said] == ["+60 s", "-62 s", "-62 s"]


def test_a_warning_of_bursts_is_found_by_what_it_is_about_and_not_by_its_words():
    teller, found = Teller([SimpleNamespace(name="soak")]), []
    alike = "the firing pattern's bursts swing the chamber, somebody wrote"
    for time_s, bursts_k in enumerate((0.0, 1.5, 2.0, 4.0)):
        act = SimpleNamespace(
            decision=SimpleNamespace(care=1.0, swing=None, bursts_k=bursts_k, step=0, phase="soak"),
            verdict=SimpleNamespace(new_trips=(), warnings=(alike,)),
        )
        found += teller.tell(float(time_s), SimpleNamespace(door_open=False), act, 0)
        assert (last_of_bursts(found) is None) is (bursts_k == 0.0)
    assert [e.about for e in found if e.kind == "warning"] == ["", BURSTS, BURSTS]
    assert "4.0 K about its mean" in (last_of_bursts(found) or "")
