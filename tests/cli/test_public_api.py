"""The names that `import kilnctl` offers: the same at run time and for editors, and typed for those who install it."""

import ast
import importlib
import inspect
import tomllib
from pathlib import Path

import kilnctl

HERE = Path(kilnctl.__file__).parent


def test_editors_see_what_python_loads():
    tree = ast.parse((HERE / "__init__.py").read_text(encoding="utf-8"))
    (block,) = [n for n in tree.body if isinstance(n, ast.If)]
    seen = {
        a.asname: (n.module, a.name) for n in block.body if isinstance(n, ast.ImportFrom) for a in n.names if a.asname
    }
    assert set(seen) == set(dir(kilnctl)) - {"__version__"}
    for name, (module, original) in seen.items():
        assert name == original and name is not None
        loaded = getattr(importlib.import_module(f"kilnctl.{module}"), name)
        assert getattr(kilnctl, name) is loaded, name


def test_every_parameter_of_a_public_function_has_a_type():
    untyped = []
    for name in dir(kilnctl):
        thing = getattr(kilnctl, name)
        if inspect.isfunction(thing):
            parameters = inspect.signature(thing).parameters.values()
            untyped += [f"{name}: {p.name}" for p in parameters if p.annotation is inspect.Parameter.empty]
    assert not untyped


def test_the_version_stands_once_and_the_package_says_that_it_is_typed():
    root = HERE.parent / "pyproject.toml"
    project = tomllib.loads(root.read_text(encoding="utf-8"))
    assert "version" in project["project"]["dynamic"] and "version" not in project["project"]
    assert project["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "kilnctl.__version__"}
    assert (HERE / "py.typed").is_file() and "py.typed" in project["tool"]["setuptools"]["package-data"]["kilnctl"]
