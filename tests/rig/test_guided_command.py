"""`kilnctl board OVEN --test`: a person at a terminal, the stand-in on a pseudo-terminal, own pins."""

import json
import time
from pathlib import Path

import pytest

from kilnctl import KilnctlError, cli
from kilnctl.commands import _guided_test
from tests.rig.test_guided_test import GOOD

CABINET = str(Path(__file__).parents[2] / "configs" / "ovens" / "curing-cabinet.yaml")


def test_own_pins_are_tested_too(tmp_path, capsys, monkeypatch):
    pins = tmp_path / "pins.yaml"
    text = Path(CABINET).read_text(encoding="utf-8")
    pins.write_text(text + "\nrig: {kind: pins, pins: {relays: [17], coil: 27}}\n", encoding="utf-8")

    def none(oven):
        raise KilnctlError("these pins are not there")

    monkeypatch.setattr("kilnctl.commands.board.PinsRig", none)
    assert cli.main(["board", str(pins), "--test"]) == 2
    assert "wants a person at a terminal" in capsys.readouterr().err
    monkeypatch.setattr(_guided_test, "needs_a_person", lambda port: None)
    assert cli.main(["board", str(pins), "--test"]) == 2 and "these pins" in capsys.readouterr().err


def test_no_answer_can_be_piped_to_real_hardware(capsys, tmp_path):
    """There is no `--yes`, and `yes | kilnctl board` is refused."""
    assert cli.main(["board", CABINET, "--port", str(tmp_path / "board"), "--test"]) == 2
    assert "wants a person at a terminal" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        cli.main(["board", CABINET, "--port", "x", "--test", "--yes"])


@pytest.mark.slow
def test_on_the_stand_in_slow_answers_get_to_the_coil_and_stop_is_kept(new_board, tmp_path, monkeypatch, capsys):
    """The board's own lease of 2 s, and 3 s for each answer."""
    port, record = new_board()[1], tmp_path / "kept.jsonl"
    asked = []

    def slow(prompt=""):
        asked.append(prompt)
        if "dropped" in prompt:
            raise EOFError
        if "Enter" not in prompt:
            time.sleep(3.0 if len(asked) < 6 else 0.2)
        return next(said for part, said in reversed(GOOD.items()) if part in prompt)

    monkeypatch.setattr("builtins.input", slow)
    status = cli.main(["board", CABINET, "--port", port, "--test", "--who", "Slow", "--record", str(record)])
    kept = json.loads(record.read_text(encoding="utf-8"))
    # On a busy machine the stand-in's own cycles may come late, which no answer has caused.
    failed = [words for words in kept["failed"] if "its own mains cycles came late" not in words]
    late = len(kept["failed"]) > len(failed)
    assert status == 1 and (late or failed == []), capsys.readouterr().out
    assert kept["ended"] == "stopped: no more answers"
    assert late or kept["good"] == [
        "Relay on, contactor open",
        "Relay off, contactor closed",
        "Both on, half power",
        "Both off",
    ]
    assert kept["who"] == "Slow"
    nowhere = ["board", CABINET, "--port", port, "--test", "--record", str(tmp_path / "no" / "kept")]
    assert cli.main(nowhere) == 2 and "--record" in capsys.readouterr().err
