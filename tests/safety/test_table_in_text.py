"""SAFETY.md's fault table is made from `fault_table.toml`, and is current."""

from pathlib import Path

import pytest

from kilnctl import KilnctlError
from kilnctl.safety.fault_table import FAULTS, Fault, by_id
from tests.tool_modules import tool_module

ROOT = Path(__file__).parents[2]


with tool_module("safety_table") as table:
    pass


@pytest.mark.parametrize(
    "value, words",
    [
        (None, "–"),
        (2.5, "2.5 s"),
        (599.0, "599 s"),
        (600.0, "10 min"),
        (690.0, "11.5 min"),
        (7199.4, "119.99 min"),
        (7200.0, "2 h"),
        (9000.0, "2.5 h"),
    ],
)
def test_spans_of_time(value, words):
    assert table.seconds(value) == words


FACTS = dict(
    id="F99",
    cause="a cause",
    seen="a sight",
    hardware="a fuse",
    rationale="a reason",
    reaction="heat off",
    detect_within_s=15.0,
)


@pytest.mark.parametrize(
    "facts, rule, latched, needs",
    [
        (dict(rules=("energy", "run-time"), threshold="5 s"), "`energy`, `run-time`; 5 s", "yes", "–"),
        (dict(rules=("energy",), latched=False, start=True), "`energy`; also at the start test", "no", "–"),
        (dict(elsewhere="the board", latch="by the board"), "the board", "by the board", "–"),
        (dict(elsewhere="the board"), "the board", "yes", "–"),
        (dict(latched=False, needs="a meter"), "", "no", "a meter"),
        (dict(latched=False, latch="partly"), "", "partly", "–"),
    ],
)
def test_a_row(facts, rule, latched, needs):
    assert table.row(Fault(**FACTS, **facts)) == (
        "F99",
        "a cause",
        "a sight",
        rule,
        "15 s",
        needs,
        "heat off",
        latched,
        "a fuse",
        "a reason",
    )


def test_the_table_has_a_head_and_its_cells_hold_no_bar_of_their_own():
    lines = table.markdown().splitlines()
    assert lines[0] == "| " + " | ".join(table.HEADS) + " |" and lines[1] == "|" + " --- |" * 10
    assert lines[2] == "| " + " | ".join(cell.replace("|", "\\|") for cell in table.row(FAULTS[0])) + " |"


def test_the_table_has_a_line_a_row_and_the_same_columns_everywhere():
    lines = table.markdown().splitlines()
    assert len(lines) == len(FAULTS) + 2
    assert {line.replace("\\|", "").count("|") for line in lines} == {11}
    assert all(by_id(f.id).cause in line for f, line in zip(FAULTS, lines[2:], strict=True))
    assert (
        "| 4 h |" in table.markdown()
        and "| 10 min |" in table.markdown()
        and "| 15 s |" in table.markdown()
        and "| – |" in table.markdown()
    )


def test_the_table_is_put_between_its_markers_and_nowhere_else():
    text = f"# Safety\n{table.BEGIN}\nxyzzy\n{table.END}\nthe end\n"
    new = table.placed(text)
    assert (
        new.startswith("# Safety\n" + table.BEGIN)
        and new.endswith(table.END + "\nthe end\n")
        and "xyzzy" not in new
        and table.placed(new) == new
    )
    for bad in (
        "no markers",
        table.BEGIN,
        table.END,
        f"{table.END}{table.BEGIN}",
        text + table.BEGIN,
        text + table.END,
        table.END + text,
    ):
        with pytest.raises(KilnctlError, match="needs one line"):
            table.placed(bad)


def test_safety_md_holds_the_current_table():
    path = ROOT / "SAFETY.md"
    text = path.read_text(encoding="utf-8")
    if table.BEGIN not in text:
        pytest.skip("SAFETY.md does not hold the markers of the fault table yet")
    assert table.placed(text) == text, "the fault table is not current: run tools/safety_table"
