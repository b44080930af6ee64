"""Runs on a plant, one after the other, with learning between them as behind the service: for the benches."""

from kilnctl.identification.learning import Doubted, Lesson, lesson
from kilnctl.identification.records import as_log
from kilnctl.model.trained_file import TrainedModel
from kilnctl.record.model_store import EARLIER
from kilnctl.run.result import Run
from kilnctl.settings.oven import Oven
from kilnctl.terms import Taught


class Noted:
    """A plant whose true temperature is noted at every tick; a run that is not over after `longest` ticks is broken
    off."""

    def __init__(self, plant, longest: int | None = None):
        self.plant, self.longest, self.truth = plant, longest, []

    def advance(self, dt_s, duty, contactor_closed):
        reading = self.plant.advance(dt_s, duty, contactor_closed)
        self.truth.append(self.plant.truth_c)
        if self.longest is not None and len(self.truth) > self.longest:
            raise KeyboardInterrupt
        return reading


class Pupil:
    """What the runs of one oven have taught so far; `model`: None before anything was learnt."""

    def __init__(self, oven: Oven):
        self.oven, self.model, self.earlier, self.doubted = oven, None, [], None
        self.model: TrainedModel | None

    def learns(self, run: Run) -> Lesson:
        """The lesson of one more run."""
        found = lesson(self.oven, run, self.model, self.earlier[-EARLIER:], self.doubted)
        log = as_log(self.oven, run)
        self.doubted = Doubted(found.model, log) if found.model and found.may_change else None
        if found.model is not None and found.taught in (Taught.LEARNT, Taught.CHANGED):
            self.model = found.model
            self.earlier = [*([] if found.taught == Taught.CHANGED else self.earlier), log]
        return found
