"""The steps of a schedule's text as a table: every value as it is written."""

from pathlib import Path

import pytest

from kilnctl.panel.step_table import step_table
from kilnctl.settings.schedule import schedule_of

CONFIGS = Path(__file__).parents[2] / "configs" / "schedules"


def test_values_stay_as_they_are_written():
    text = (
        "schedule: x\nsteps:\n  - {name: up, to: 392 °F, at: 3 °C/min, hold: 0.5 h, within: 3 K}\n"
        "  - name: down\n    to: 60 °C  # a comment\n    let cool: yes\n"
    )
    assert step_table(text) == [
        {"name": "up", "to": "392 °F", "at": "3 °C/min", "hold": "0.5 h", "within": "3 K"},
        {"name": "down", "to": "60 °C", "let cool": "yes"},
    ]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "steps: 3\n",
        "steps:\n  - 100 °C\n",
        "steps:\n  - {to: [1, 2]}\n",
        "steps: {to: 1}\n",
        "- a\n",
        "a: [\n",
        "schedule: x\n",
    ],
)
def test_a_text_without_plain_steps_has_no_table(text):
    assert step_table(text) is None


@pytest.mark.parametrize("file", sorted(CONFIGS.glob("*.yaml")), ids=lambda p: p.stem)
def test_the_workshop_s_schedules_have_one_row_for_each_step(file):
    text = file.read_text(encoding="utf-8")
    rows = step_table(text)
    assert rows is not None and len(rows) == len(schedule_of(text, file.name).steps)
