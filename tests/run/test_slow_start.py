"""A slow start of a kiln asks for a fiftieth of full power for minutes: no relay that stays on."""

from kilnctl import load_oven
from kilnctl.run.rehearsal import rehearse
from kilnctl.settings.schedule import schedule_of


def test_drying_at_40_k_per_hour_and_on_is_no_fault():
    text = "schedule: drying\nsteps:\n  - {to: 40 °C, at: 40 K/h, hold: 5 min}\n  - {to: 60 °C, hold: 1 min}\n"
    run = rehearse(load_oven("configs/ovens/brick-kiln.yaml"), schedule_of(text, "drying"))
    assert run.outcome == "finished" and not run.trips
