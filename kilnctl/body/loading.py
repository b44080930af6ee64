"""Reads an oven file completely: the description, and the guesses about what it leaves out of elements and layers."""

from dataclasses import replace
from pathlib import Path

from ..settings import oven as description
from ..settings.oven import Oven
from .contents import drying_assumed
from .heaters import assumed
from .layers import assumed_of_layers


def load_oven(path: str | Path) -> Oven:
    """Read an oven file; `assumptions` lists everything assumed because the file does not say it. Raises
    `SettingsError` with every problem found, each with file:line:column."""
    oven = description.load_oven(path)
    return replace(
        oven, assumptions=(*oven.assumptions, *assumed(oven), *assumed_of_layers(oven), *drying_assumed(oven))
    )
