"""A test that cannot fail proves nothing: every test here asserts something, expects an error, or calls a check that
does."""

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
#: Calls that fail by themselves when what they are about does not hold.
CHECKS = {
    "raises",
    "warns",
    "fail",
    "assert_allclose",
    "assert_array_equal",
    "assert_equal",
    "assert_array_almost_equal",
}


def problems(source: str) -> list[str]:
    """Names of tests in `source` that cannot fail, each with why."""
    tree = ast.parse(source)
    helpers = {
        f.name
        for f in ast.walk(tree)
        if isinstance(f, ast.FunctionDef) and not f.name.startswith("test") and _asserts(f, set())
    }
    found = []
    for f in ast.walk(tree):
        if isinstance(f, ast.FunctionDef) and f.name.startswith("test"):
            if _hollow(f):
                found.append(f"{f.name}: asserts a constant")
            if _swallows(f):
                found.append(f"{f.name}: swallows its own failure")
            if not _asserts(f, helpers):
                found.append(f"{f.name}: asserts nothing")
    return found


def _constant(test: ast.expr) -> bool:
    """Always true: a constant, a non-empty tuple, `x == x`, `… or True`."""
    if isinstance(test, ast.Constant):
        return bool(test.value)
    if isinstance(test, (ast.Tuple, ast.List)):
        return bool(test.elts)
    if isinstance(test, ast.BoolOp) and isinstance(test.op, ast.Or):
        return any(_constant(v) for v in test.values)
    if isinstance(test, ast.BoolOp):
        return all(_constant(v) for v in test.values)
    if (
        isinstance(test, ast.Compare)
        and len(test.ops) == 1
        and isinstance(test.ops[0], (ast.Eq, ast.Is, ast.LtE, ast.GtE))
    ):
        plain = not any(isinstance(n, ast.Call) for n in ast.walk(test))
        return plain and ast.dump(test.left) == ast.dump(test.comparators[0])
    return False


def _hollow(f: ast.FunctionDef) -> bool:
    return any(isinstance(n, ast.Assert) and _constant(n.test) for n in ast.walk(f))


def _swallows(f: ast.FunctionDef) -> bool:
    """An assertion inside `try` whose handler takes AssertionError, Exception or everything, and does nothing about
    it."""
    for n in ast.walk(f):
        if isinstance(n, ast.Try) and any(isinstance(a, ast.Assert) for b in n.body for a in ast.walk(b)):
            for handler in n.handlers:
                names = (
                    {"BaseException"}
                    if handler.type is None
                    else {x.id for x in ast.walk(handler.type) if isinstance(x, ast.Name)}
                )
                raises = any(isinstance(x, (ast.Raise, ast.Assert)) for x in ast.walk(handler))
                if names & {"AssertionError", "Exception", "BaseException"} and not raises:
                    return True
    return False


def _asserts(f: ast.FunctionDef, helpers: set[str]) -> bool:
    for n in ast.walk(f):
        if isinstance(n, ast.Assert) and not _constant(n.test):
            return True
        if isinstance(n, ast.Call):
            name = n.func.attr if isinstance(n.func, ast.Attribute) else getattr(n.func, "id", "")
            if name in CHECKS or name in helpers:
                return True
    return False


@pytest.mark.parametrize("path", sorted(TESTS.rglob("test_*.py")), ids=lambda p: p.relative_to(TESTS).as_posix())
def test_every_test_of_this_file_can_fail(path):
    assert problems(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("pass", "asserts nothing"),
        ("x = 1 + 1", "asserts nothing"),
        ("print(run())", "asserts nothing"),
        ("assert True", "asserts a constant"),
        ("assert 1", "asserts a constant"),
        ("assert (run(), 'message')", "asserts a constant"),
        ("assert x == x", "asserts a constant"),
        ("assert run() or True", "asserts a constant"),
        ("try:\n        assert run()\n    except Exception:\n        pass", "swallows its own failure"),
        ("try:\n        assert run()\n    except:\n        pass", "swallows its own failure"),
        ("helper()", "asserts nothing"),
    ],
)
def test_the_scan_finds_tests_that_cannot_fail(body, why):
    source = f"def helper():\n    return 1\n\n\ndef test_it():\n    {body}\n"
    assert any(why in p for p in problems(source))


@pytest.mark.parametrize(
    "body",
    [
        "assert run() == 1",
        "with pytest.raises(ValueError):\n        run()",
        "np.testing.assert_allclose(run(), 1)",
        "check()",
        "assert isinstance(run(), int)",
        "assert run() == run()",
        "try:\n        assert run()\n    except ValueError:\n        pass",
        "for x in y:\n        assert x",
    ],
)
def test_the_scan_lets_real_tests_pass(body):
    source = f"def check():\n    assert run() == 1\n\n\ndef test_it():\n    {body}\n"
    assert problems(source) == []
