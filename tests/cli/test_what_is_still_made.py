"""What a command says after its run: how it ended comes first, and the wait for what the run teaches is bounded."""

import subprocess
import sys

import pytest

from kilnctl.commands import _serving
from tests.cli.test_options_of_services import BRIEF

CABINET = "configs/ovens/curing-cabinet.yaml"
#: Waits for a file, then makes the page: a process that the loaded computer lets wait.
SLOW = """
import contextlib, pathlib, sys, time
while not pathlib.Path(sys.argv[1], "go").exists():
    time.sleep(0.05)
with contextlib.suppress(OSError):
    print('{"words": "learnt much"}', flush=True)
pathlib.Path(sys.argv[1], "run.html").write_text("made behind")
"""


@pytest.mark.slow
@pytest.mark.parametrize("in_time", [True, False])
def test_the_outcome_comes_first_and_nothing_is_lost_when_the_lesson_takes_long(here, tmp_path, monkeypatch, in_time):
    begun = []

    def slowly(folder, models, outlives=False):
        assert outlives, "it goes on when the terminal closes"
        if in_time:
            (folder / "go").touch()
        command = [sys.executable, "-c", SLOW, str(folder)]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=outlives)
        begun.append((folder, child))
        return child

    monkeypatch.setattr(_serving, "begin_finishing", slowly)
    monkeypatch.setattr(_serving, "LESSON_S", 30.0 if in_time else 0.3)
    (tmp_path / "brief.yaml").write_text(BRIEF, encoding="utf-8")
    common = ("--rig", "virtual", "--speed", 100000, "--confirm", "--quiet", "--home", tmp_path, "--out", tmp_path)
    done = here("run", CABINET, tmp_path / "brief.yaml", *common)
    ((folder, child),) = begun
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    outcome = next(k for k, line in enumerate(lines) if f"the record lies in {folder}/" in line)
    waits = next(k for k, line in enumerate(lines) if _serving.LEARNING in line)
    assert outcome < waits and lines[-1] == f"next: kilnctl report {folder}"
    told = any(f"{folder}/run.html and what the run teaches are still being made" in line for line in lines)
    assert told is not in_time and ("learnt much" in done.stdout) is in_time
    if in_time:
        assert (folder / "run.html").is_file() and (folder / "samples.csv").is_file()
        return
    assert not (folder / "run.html").exists() and child.poll() is None, "it still works"
    (folder / "go").touch()
    child.wait(30.0)
    assert (folder / "run.html").read_text() == "made behind"
    again = here("report", folder)
    assert again.returncode == 0 and (folder / "samples.csv").is_file(), "the journal alone makes it again"
