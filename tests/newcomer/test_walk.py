"""A newcomer's path, for every purpose that `kilnctl new` offers: describe, check, size, rehearse, study, learn, fit,
run, report.

The code was not written for any oven here: each is what `new` makes of its own defaults, or of a person's answers.
Nothing on the way may be refused, trip or be called a fault. What takes minutes is marked `slow` (tools/check leaves it
out, tools/check --slow runs it)."""

import csv
import json
import re

import pytest

from kilnctl import load_oven
from kilnctl.commands.new import PURPOSES, QUESTIONS

#: name → answers by question; a question that is not answered takes its default. None: --defaults, which is a powder
#: coat oven.
ANSWERS = {
    "powder coat": None,
    **{purpose: {"name": f"Shop {purpose}", "purpose": purpose} for purpose in PURPOSES if purpose != "powder coat"},
    "metric": {
        "name": "Paint cabinet",
        "purpose": "powder coat",
        "highest": "230 °C",
        "size": "500 x 450 x 450 mm",
        "opening": "front",
        "insulation": "mineral wool 100",
        "thickness": "100 mm",
        "backing": "none",
        "power": "3.5 kW",
        "voltage": "230 V",
        "frequency": "50 Hz",
        "fan": "yes",
        "vented": "yes",
        "flow": "6 m³/h",
        "proof": "flow switch",
    },
    "american": {
        "name": "Spring furnace",
        "purpose": "heat treatment",
        "highest": "1650 °F",
        "size": "12 x 16 x 12 in",
        "opening": "top",
        "insulation": "insulating firebrick 23",
        "thickness": "4 1/2 in",
        "backing": "ceramic fibre blanket 128",
        "backing thickness": "2 in",
        "power": "4 kW",
        "voltage": "240 V",
        "frequency": "60 Hz",
        "fan": "no",
    },
}
AMERICAN = {"american"}
SOAK = """schedule: Plain soak
steps:
  - {{name: soak, to: {hot}, hold: 15 min}}
  - {{name: cool, to: {cool}, let cool: yes}}
"""


class Newcomer:
    """A folder with an oven's file and a schedule in it, and the records that the commands left, each made once."""

    def __init__(self, folder, kind):
        self.folder, self.kind, self.done = folder, kind, {}
        self.oven, self.soak, self.runs = folder / "oven.yaml", folder / "soak.yaml", folder / "runs"
        self.soak_c = 0.0

    def once(self, what, command):
        """`command()`, or what it answered the first time."""
        if what not in self.done:
            self.done[what] = command()
        return self.done[what]

    def described(self, here):
        return self.once("new", lambda: self._describe(here))

    def _describe(self, here):
        answers = ANSWERS[self.kind]
        if answers is None:
            done = here("new", self.oven, "--defaults")
        else:
            asked = [q.key for q in QUESTIONS if not skipped(q.key, answers)]
            done = here("new", self.oven, answers="".join(answers.get(key, "") + "\n" for key in asked))
        if done.returncode == 0:
            # 90 % of the highest, as the oven's own file has it, in the units that this person thinks in.
            self.soak_c = 0.9 * load_oven(self.oven).limits.highest_c
            shown = (lambda c: f"{1.8 * c + 32.0:.0f} °F") if self.kind in AMERICAN else (lambda c: f"{c:.1f} °C")
            self.soak.write_text(SOAK.format(hot=shown(self.soak_c), cool=shown(0.9 * self.soak_c)))
        return done

    def rehearsed(self, here):
        self.described(here)
        return self.once("rehearse", lambda: here("rehearse", self.oven, self.soak, "--out", self.runs, "--quiet"))

    def learnt(self, here):
        self.described(here)
        return self.once("learn", lambda: here("learn", self.oven, "--out", self.runs, "--quiet"))

    def record(self, words):
        """The folder of the one record whose name ends in `words`."""
        found = sorted(self.runs.glob(f"*{words}"))
        assert len(found) == 1, f"{found} in {self.runs}"
        return found[0]


def skipped(key, answers):
    """Questions that do not come up: `new` leaves them out too."""
    backing = answers.get("backing") or (PURPOSES[answers["purpose"]][5] or ("none",))[0]
    return (
        (key == "backing thickness" and backing == "none")
        or (key == "vented" and answers["purpose"] != "powder coat")
        or (key in ("flow", "proof") and key not in answers)
    )


#: The ovens that walk in tools/check.
QUICK = ("powder coat", "american")


def marks_of(kind: str) -> list:
    """The others walk in the slow set."""
    return [pytest.mark.xdist_group(kind), *([] if kind in QUICK else [pytest.mark.slow])]


@pytest.fixture(scope="module", params=[pytest.param(kind, marks=marks_of(kind)) for kind in ANSWERS])
def newcomer(request, tmp_path_factory):
    return Newcomer(tmp_path_factory.mktemp("newcomer"), request.param)


def went_well(done):
    """Status 0, and no output that a person would mistake for trouble."""
    assert done.returncode == 0, f"status {done.returncode}\n{done.stderr}\n{done.stdout}"
    for word in ("Traceback", "TRIP", "DANGER"):
        assert word not in done.stdout + done.stderr, done.stdout + done.stderr


def finished_and_followed(folder, soak_c):
    """The record in `folder` ended by itself, without a trip, and its chamber reached the soak and stayed near it."""
    about = json.loads((folder / "run.json").read_text())
    assert about["outcome"] == "finished" and about["trips"] == []
    with open(folder / "samples.csv", encoding="utf-8") as file:
        chamber = [float(row["chamber_c"]) for row in csv.DictReader(file) if row["chamber_c"]]
    # 5 K: the schedule's band is 3 K, and a reading has noise.
    assert soak_c - 5.0 < max(chamber) < soak_c + 5.0
    assert (folder / "run.html").read_text().startswith("<!doctype html>")


def test_new_writes_a_file_that_loads(newcomer, here):
    done = newcomer.described(here)
    went_well(done)
    oven, answers = load_oven(newcomer.oven), ANSWERS[newcomer.kind] or {"name": "My oven"}
    assert oven.name == answers["name"] and f"kilnctl check {newcomer.oven}" in done.stdout
    if newcomer.kind == "american":  # by hand: (1650 − 32) / 1.8 and 16 × 25.4 mm
        assert oven.limits.highest_c == pytest.approx(898.9, abs=0.05) and oven.chamber.depth_m == pytest.approx(0.4064)


def test_new_at_the_end_of_its_input_takes_no_answer_for_granted_and_writes_nothing_wrong(here, tmp_path):
    done = here("new", tmp_path / "oven.yaml", answers="Half an oven\npowder coat\nnone of your business\n")
    assert done.returncode == 2 and "none of your business" in done.stderr and not (tmp_path / "oven.yaml").exists()


def test_check_understands_it_and_says_what_is_assumed(newcomer, here):
    newcomer.described(here)
    done = here("check", newcomer.oven)
    went_well(done)
    assert load_oven(newcomer.oven).name in done.stdout and "assumed" in done.stdout


def test_check_finds_that_the_oven_can_soak_near_its_highest(newcomer, here):
    newcomer.described(here)
    done = here("check", newcomer.oven, newcomer.soak)
    went_well(done)
    assert "can do it" in done.stdout


def test_size_answers_how_hot_how_fast_and_where_the_watts_go(newcomer, here):
    newcomer.described(here)
    told = here("size", newcomer.oven)
    went_well(told)
    for words in ("power to hold it", "where the watts go", "outside"):
        assert words in told.stdout
    found = here("size", newcomer.oven, "--json")
    went_well(found)
    sized = json.loads(found.stdout)
    # What `new` proposes gets as hot as was asked for, also when the supply is low, and within a working day.
    assert sized["max_at_low_supply_c"] > sized["highest_c"] and 60.0 < sized["heat_up_s"]["value"] < 8 * 3600.0
    powers = [level["power_w"]["value"] for level in sized["levels"]]
    # Near the room a fan alone may hold it.
    assert powers == sorted(powers) and powers[-1] > 100.0


def test_a_soak_near_its_highest_is_rehearsed_without_a_trip(newcomer, here):
    done = newcomer.rehearsed(here)
    went_well(done)
    assert "overshoot" in done.stdout and "energy" in done.stdout
    finished_and_followed(newcomer.record("plain-soak"), newcomer.soak_c)


def test_report_makes_one_page_of_it(newcomer, here):
    newcomer.rehearsed(here)
    folder = newcomer.record("plain-soak")
    done = here("report", folder)
    went_well(done)
    page = (folder / "report.html").read_text()
    assert (
        load_oven(newcomer.oven).name in page
        and "Plain soak" in page
        and "http" not in page.replace("http://www.w3.org/", "")
    )


def no_draw_trips(newcomer, here, draws):
    newcomer.described(here)
    out = newcomer.folder / f"study-{draws}"
    done = here("study", newcomer.oven, newcomer.soak, "--draws", draws, "--jobs", 1, "--out", out, "--quiet")
    went_well(done)
    rows = [json.loads(line) for line in next(out.glob("*/draws.jsonl")).read_text().splitlines()][1:]
    assert len(rows) == draws and f"{draws} ran to the end, 0 tripped, 0 failed" in done.stdout, done.stdout


@pytest.mark.slow
def test_three_drawn_ovens_do_it_too(newcomer, here):
    no_draw_trips(newcomer, here, 3)


@pytest.mark.slow
def test_twenty_drawn_ovens_do_it_too(newcomer, here):
    no_draw_trips(newcomer, here, 20)


@pytest.mark.slow
def test_the_learning_run_ends_by_itself_and_is_fitted_and_controls(newcomer, here):
    went_well(newcomer.learnt(here))
    folder, model = newcomer.record("learning-run"), newcomer.folder / "model.yaml"
    assert json.loads((folder / "run.json").read_text())["outcome"] == "finished"
    fitted = here("fit", newcomer.oven, folder, "--save", model)
    went_well(fitted)
    assert re.search(r"misses it by \S+ (K|°F) rms", fitted.stdout) and model.exists()
    done = here(
        "rehearse", newcomer.oven, newcomer.soak, "--model", model, "--out", newcomer.folder / "with model", "--quiet"
    )
    went_well(done)
    finished_and_followed(next((newcomer.folder / "with model").iterdir()), newcomer.soak_c)


@pytest.mark.slow
def test_the_record_of_a_plain_soak_can_be_fitted_as_well(newcomer, here):
    newcomer.rehearsed(here)
    done = here("fit", newcomer.oven, newcomer.record("plain-soak"))
    went_well(done)
    assert re.search(r"misses it by \S+ (K|°F) rms", done.stdout)


@pytest.mark.slow
def test_the_service_runs_it_on_the_virtual_rig_and_its_record_is_fitted(newcomer, here):
    newcomer.described(here)
    out = newcomer.folder / "served"
    done = here(
        "run",
        newcomer.oven,
        newcomer.soak,
        "--rig",
        "virtual",
        "--speed",
        3000,
        "--home",
        newcomer.folder / "home",
        "--confirm",
        "--out",
        out,
    )
    went_well(done)
    folder = next(out.iterdir())
    finished_and_followed(folder, newcomer.soak_c)
    went_well(here("fit", newcomer.oven, folder, "--quick"))
    went_well(here("report", folder))
