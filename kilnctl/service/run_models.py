"""Which model a run is controlled with, and whether it teaches the oven's models."""

from pathlib import Path

from ..record.model_store import store_of
from ..run.prepare import PreparedRun
from ..settings.oven import Oven


class RunModels:
    """`home`: the oven's state folder; `given`: the trained model of runs whose request names none; `learning`: whether
    runs teach."""

    def __init__(self, home: Path, rig_kind: str, *, given: str | None = None, learning: bool = True):
        self.store, self.given, self.learning = store_of(home, rig_kind), given, learning

    def chosen(self, oven: Oven, asked: str | None = None) -> tuple[str | None, str]:
        """(the trained model's file, or None for the description's; why the one in use is not used). Waits for the
        disk."""
        if asked or self.given:
            return asked or self.given, ""
        file, note = self.store.in_use(oven)
        return file or None, note

    def teaches(self, order: PreparedRun, wanted: bool = True) -> bool:
        """Whether that run teaches: not where a person chose its model by a file."""
        return wanted and self.learning and (not order.model_file or self.store.holds(order.model_file))
