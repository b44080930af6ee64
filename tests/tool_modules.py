"""Programs of tools/ have no suffix: how a test imports one."""

import contextlib
import sys
from collections.abc import Iterator
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from types import ModuleType

TOOLS = Path(__file__).resolve().parents[1] / "tools"


@contextlib.contextmanager
def tool_module(name: str) -> Iterator[ModuleType]:
    """The program `tools/NAME` as a module. What it puts into `sys.modules` and `sys.path` is taken out at the end."""
    path = TOOLS / name
    loader = SourceFileLoader(path.name, str(path))
    spec = spec_from_loader(path.name, loader)
    assert spec is not None
    module, was = module_from_spec(spec), list(sys.path)
    sys.modules[path.name] = module
    try:
        loader.exec_module(module)
        yield module
    finally:
        sys.path[:] = was
        del sys.modules[path.name]
