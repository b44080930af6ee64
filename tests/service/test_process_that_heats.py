"""The process that heats, in a fresh interpreter: settings, model, control, safety, firing and the board's rig,
through its first minutes."""

import subprocess
import sys
from pathlib import Path

import pytest

from kilnctl import KilnctlError, load_oven, prepare
from kilnctl.service.readying import readied

CODE = """
import sys
from kilnctl import load_oven, load_schedule
from kilnctl.rig import board_rig
from kilnctl.service.session import Session, prepare
from kilnctl.model.energy import CONTENTS, SENSOR
from kilnctl.reading import Reading

order = prepare(load_oven({oven!r}), load_schedule({schedule!r}))
session, model, fired, phases = Session(order), order.model, 0.0, set()
x = model.rest(20.0)
for k in range(1, 300):
    x = model.step(x, fired * model.power_w, 1.0, 20.0)
    on = k > 1 and act.contactor
    reading = Reading(
        x[SENSOR] + 0.01 * (k % 3), limit_c=x[SENSOR], part_c=x[CONTENTS], cold_junction_c=25.0 + 0.01 * (k % 2),
        sample=k, fired=fired, door_open=False, contactor_closed=on, airflow_proved=True,
        supply_v=230.0 if on else None,
    )
    act = session.tick(reading, float(k), 1.0, k)
    fired = act.fired if act.contactor else 0.0
    phases.add(act.decision.phase)
with open("/proc/self/status") as status:
    rss = next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))
needless = [m for m in ("scipy", "numpy.random", "kilnctl.plants.virtual_oven") if m in sys.modules]
print(rss, needless, sorted(phases), sorted(session.chain.safety.trips))
"""


def test_it_imports_no_scipy_and_no_plant_and_stays_under_sixty_megabytes():
    configs = Path(__file__).parents[2] / "configs"
    code = CODE.format(
        oven=str(configs / "ovens" / "curing-cabinet.yaml"), schedule=str(configs / "schedules" / "temper.yaml")
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rss_kb, needless, phases = done.stdout.strip().split(" ", 2)
    assert "heat up" in phases or "ramp" in phases, "it really heated"
    assert needless == "[]" and int(rss_kb) < 60 * 1024


def test_what_is_refused_in_the_other_process_is_said_in_this_one(oven, schedule, tmp_path):
    """And a run that was prepared there is the one that would be prepared here."""
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    with pytest.raises(KilnctlError, match="nothing here") as refused:
        readied(cabinet, cure, str(tmp_path / "nothing here.yaml"), 20.0)
    assert "Traceback" not in str(refused.value)
    assert readied(cabinet, cure, None, 20.0).policy == prepare(cabinet, cure, None, 20.0).policy


@pytest.mark.parametrize("rig", ["virtual", "board"])
def test_wrong_wiring_keeps_a_real_oven_from_heating_and_says_where_to_look(oven, schedule, tmp_path, rig):
    text = Path(oven("curing-cabinet").file).read_text(encoding="utf-8")
    path = tmp_path / "thin.yaml"
    thin = text.replace("cable area: 2.5 mm²", "cable area: 0.5 mm²")
    assert thin != text
    path.write_text(thin + ("rig: {kind: board, port: /dev/none}\n" if rig == "board" else ""), encoding="utf-8")
    thin_oven, cure = load_oven(path), schedule("powder-cure")
    if rig == "virtual":
        assert readied(thin_oven, cure, None, 20.0).policy
        return
    with pytest.raises(KilnctlError, match=r"thin\.yaml` calls its wiring WRONG"):
        readied(thin_oven, cure, None, 20.0)
