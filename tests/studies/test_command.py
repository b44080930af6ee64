"""`kilnctl study`."""

import pytest

from kilnctl import cli
from kilnctl.output import IMPERIAL, Units
from kilnctl.report.study_page import study_page
from kilnctl.report.study_text import study_text
from tests.studies.study_cases import CONFIGS


@pytest.mark.slow
def test_the_command_says_what_it_found_and_where_it_lies(oven, tmp_path, capsys):
    (tmp_path / "warm.yaml").write_text(
        "schedule: warm\nsteps:\n  - {name: warm, to: 80 °C, hold: 700 s}\n  - {to: 75 °C, let cool: yes}\n"
    )
    (tmp_path / "vary.yaml").write_text(
        "vary: only the room\n" + "".join(f"{k}: 0\n" for k in ("conductivity", "supply")) + "ambient: 10 K\n"
    )
    command = [
        "study",
        oven("curing-cabinet").file,
        str(tmp_path / "warm.yaml"),
        "--draws",
        "3",
        "--jobs",
        "1",
        "--quiet",
        "--out",
        str(tmp_path / "out"),
        "--vary",
        str(tmp_path / "vary.yaml"),
    ]
    assert cli.main(command) == 0
    said = capsys.readouterr().out
    assert (
        "3 draws: 3 ran to the end, 0 tripped, 0 failed" in said and "kilnctl rehearse" in said and "study.html" in said
    )
    assert cli.main(command) == 0 and capsys.readouterr().out == said
    assert said.splitlines()[-1].startswith("next: kilnctl learn ")
    html = next((tmp_path / "out").rglob("study.html")).read_text()
    assert "How sure is it?" in html and "<script" not in html and "± 10 K" in html
    worst = next((tmp_path / "out").rglob("worst/*.yaml"))
    assert (
        cli.main(["rehearse", str(worst), str(tmp_path / "warm.yaml"), "--out", str(tmp_path / "runs"), "--quiet"]) == 0
    )


@pytest.mark.parametrize(
    "more, words",
    [
        (["--reach", "200 °C"], "--layer"),
        ([], "give a schedule"),
        (["S", "--reach", "200 °C"], "give a schedule, or"),
        (["S", "--draws", "0"], "--draws"),
        (["S", "--seed", "-1"], "--seed"),
        (["S", "--jobs", "0"], "--jobs"),
        (["S", "--from-fit"], "--model"),
        (["--reach", "warm", "--layer", "x"], "--reach"),
        (["S", "--vary", "V"], "vary.yaml:2:"),
    ],
)
def test_what_cannot_be_studied_is_told(tmp_path, capsys, more, words):
    (tmp_path / "vary.yaml").write_text("vary: broken\nconductivity: plenty\n")
    files = {"S": str(CONFIGS / "schedules/powder-cure.yaml"), "V": str(tmp_path / "vary.yaml")}
    assert (
        cli.main(
            [
                "study",
                str(CONFIGS / "ovens/curing-cabinet.yaml"),
                *(files.get(m) or m for m in more),
                "--out",
                str(tmp_path / "out"),
            ]
        )
        == 2
    )
    assert words in capsys.readouterr().err


def test_words_and_page_of_a_study(case, alone):
    trips = [dict(r) for r in alone.rows]
    trips[3] = {
        **trips[3],
        "outcome": "tripped",
        "trips": [["heat-no-rise", 12.0]],
        "measures": dict.fromkeys(trips[3]["measures"]),
    }
    made = type(alone)(case, trips)
    said = study_text(made, Units(IMPERIAL))
    assert (
        "3 ran to the end, 1 tripped" in said
        and "heat-no-rise in 1 of 4" in said
        and "°F" in said
        and "too few draws" in said
    )
    assert "heat-no-rise" in study_page(made) and study_page(made).count("<svg") >= 6
