"""Safety is pure: plain floats, nothing of numpy, no clock, no file."""

import ast
import subprocess
import sys
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "kilnctl"


def imports(path: Path) -> tuple[set[str], set[str]]:
    """What a module of the package imports when it runs: from outside, and from other rooms."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    checked = [n for n in ast.walk(tree) if isinstance(n, ast.If) and ast.unparse(n.test) == "TYPE_CHECKING"]
    for_types = {inner for node in checked for statement in node.body for inner in ast.walk(statement)}
    nodes = [n for n in ast.walk(tree) if n not in for_types]
    names = {a.name for n in nodes if isinstance(n, ast.Import) for a in n.names}
    names |= {n.module or "" for n in nodes if isinstance(n, ast.ImportFrom) and n.level == 0}
    return names, {n.module or "" for n in nodes if isinstance(n, ast.ImportFrom) and n.level == 2}


def test_safety_needs_no_numpy_no_clock_and_no_file():
    for path in (PACKAGE / "safety").glob("*.py"):
        names, ours = imports(path)
        # The fault table is data in a file next to its module; the next test holds that no tick reads it.
        of_the_table = {"tomllib", "pathlib"} if path.name == "fault_table.py" else set()
        assert (
            names <= {"math", "copy", "dataclasses", "collections.abc", "numbers", "operator", "typing"} | of_the_table
        ), path
        # The vapour sum is done once, before a run; its formulas are plain floats too, as the last test holds.
        of_the_sum = {"terms", "thermal"} if path.name == "ventilation.py" else set()
        assert ours <= {"reading", "errors"} | of_the_sum, path
        tree = ast.parse(path.read_text(encoding="utf-8"))
        called = {ast.unparse(n.func) for n in ast.walk(tree) if isinstance(n, ast.Call)}
        assert not called & {"open", "print", "input", "exec", "eval"}, path


def test_the_vapour_sum_s_formulas_are_plain_floats():
    assert imports(PACKAGE / "thermal" / "vapour.py") == ({"math", "dataclasses"}, set())


def test_no_tick_reads_the_fault_table():
    program = (
        "import sys, kilnctl.safety as s; from kilnctl import Reading; "
        "p = s.Policy(chamber_trip_c=300.0, schedule_trip_c=250.0); "
        "lost = Reading(float('nan'), faults=('board-lost',)); "
        "state, verdict = s.judge(s.SafetyState(), p, lost, s.Tick(1.0, 1, 0.3)); "
        "s.acknowledge(state, p, Reading(100.0), s.Tick(2.0, 2, 0.0), 'the keeper'); "
        "print(sorted(state.trips), 'tomllib' in sys.modules, 'kilnctl.safety.fault_table' in sys.modules)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, cwd=PACKAGE.parent, check=True
    )
    assert ran.stdout.split("\n")[0] == "['board-lost'] False False"
