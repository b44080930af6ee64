"""The results file of `tools/zoo`: what is in it is not run again, however the run before ended."""

import json
import runpy
from pathlib import Path

import pytest

from tests.generated.judging import Row

ZOO = runpy.run_path(str(Path(__file__).parents[2] / "tools" / "zoo"), run_name="zoo")
DONE = Row(7, refused={"size": "too small"}, top_c=300.0, over_k=0.25, trips=(("sensor-jump", 26.0, "a jump"),))


def test_what_was_written_is_read_again(tmp_path):
    file = tmp_path / "new" / "results.jsonl"
    for row in (DONE, Row(8)):
        ZOO["write_result"](file, row, 11)
    assert ZOO["read_results"](file, 11) == [DONE, Row(8)]


def test_a_line_that_was_cut_off_costs_its_own_oven_only(tmp_path, capsys):
    file = tmp_path / "results.jsonl"
    ZOO["write_result"](file, DONE, 11)
    with file.open("a") as out:
        out.write('{"seed": 11, "num')
    assert ZOO["read_results"](file, 11) == [DONE]
    assert "results.jsonl:2" in capsys.readouterr().err
    ZOO["write_result"](file, Row(9), 11)
    assert ZOO["read_results"](file, 11) == [DONE, Row(9)]


def test_results_of_another_seed_are_not_mixed_in(tmp_path):
    file = tmp_path / "results.jsonl"
    ZOO["write_result"](file, DONE, 11)
    with pytest.raises(SystemExit, match="another seed"):
        ZOO["read_results"](file, 12)


def test_each_line_has_what_failed_to_be_counted_elsewhere(tmp_path):
    file = tmp_path / "results.jsonl"
    ZOO["write_result"](file, DONE, 11)
    assert json.loads(file.read_text())["over_k"] == 0.25
