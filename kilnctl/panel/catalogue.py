"""The panel's catalogue: schedules and their previews, records of runs, the oven's sizing. A name that
comes from a page is looked up in a list of what is there, never joined to a path."""

import datetime
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from ..errors import KilnctlError
from ..output import IMPERIAL, METRIC, Units
from ..record.care import due, known_log
from ..record.model_store import ModelStore, store_of
from ..record.run_record import read_run
from ..report.care_section import state_of
from ..report.run_report import run_page
from ..run.prepare import prepare
from ..run.summary import summarise
from ..settings import SettingsError
from ..settings.oven import Oven
from ..settings.schedule import Schedule, schedule_of
from ..sizing import size
from .past_run import past_run
from .preview import RunPreview, preview_of
from .schedule_folder import LARGEST_SCHEDULE, ScheduleFolder
from .seen import LastShown, Shown, shown_of
from .step_table import step_table
from .worker import ENDED, Job, Worker

#: Runs listed.
MOST_RUNS = 400
#: Records whose journals are read for one answer.
FRESH = 12


class Catalogue:
    """All methods but those that begin with `ask` may take seconds: call them from a thread.

    Previews and sizings are computed one after the other in a process of their own, since the same computer may run an
    oven, and a stop must not wait for arithmetic. The newest question comes first: a page with an older one may already
    show another schedule.
    """

    def __init__(
        self,
        oven: Oven,
        schedules: Path,
        records: Path,
        model_file: str | None = None,
        home: Path | None = None,
        rig_kind: str | None = None,
    ):
        self.oven, self.records, self.given_model, self.home = oven, Path(records), model_file, home
        self._models = store_of(home, rig_kind or oven.rig.kind) if home is not None else None
        self._in_use: tuple[int, str | None] = (-1, None)
        self.schedules, self.seen = ScheduleFolder(schedules), LastShown()
        self.worker = Worker()
        self._told: dict[str, dict] = {}

    def close(self) -> None:
        """Give up the present computation and those that wait."""
        self.worker.close()

    def heard(self, status: Mapping) -> None:
        """The service says where its models are: it may heat another rig than the description names."""
        told = status.get("models")
        if told and (self._models is None or self._models.folder != Path(told)):
            self._models, self._in_use = ModelStore(Path(told)), (-1, None)

    @property
    def model_file(self) -> str | None:
        """The trained model that a start would be controlled with: the one that was given, or what runs have taught."""
        if self.given_model or self._models is None:
            return self.given_model
        changed_ns = self._models.changed_ns()
        if changed_ns != self._in_use[0]:
            self._in_use = (changed_ns, self._models.in_use(self.oven)[0] or None)
        return self._in_use[1]

    # ---- schedules ----

    def listed(self) -> list[dict]:
        out = []
        for name in self.schedules.files():
            try:
                s = schedule_of(self.schedules.text(name), name)
                may = s.top_c <= self.oven.limits.highest_c
                out.append(
                    {
                        "file": name,
                        "name": s.name,
                        "about": s.about,
                        "top_c": s.top_c,
                        "may": may,
                        "steps": len(s.steps),
                    }
                )
            except KilnctlError as error:
                problems = error.problems if isinstance(error, SettingsError) else ()
                out.append(
                    {
                        "file": name,
                        "name": name,
                        "about": str(problems[0]) if problems else str(error),
                        "broken": True,
                        "may": False,
                    }
                )
        return out

    def checked(self, source: str, name: str, start_c: float | None) -> dict:
        """Problems with their places; or none, and the fingerprint of what is shown with this text; and its table of
        steps."""
        schedule, problems = self.draft(source, name)
        table = step_table(source) if len(source) <= LARGEST_SCHEDULE else None
        if schedule is None:
            return {"problems": problems, "steps": table}
        try:
            prepare(self.oven, schedule, self.model_file, start_c)
        except KilnctlError as error:
            # The page shows the name of the oven's file, not where it lies on this computer.
            words = str(error).replace(self.oven.file or "\0", Path(self.oven.file).name)
            return {"problems": [{"line": 0, "column": 0, "words": words}], "steps": table}
        return {"problems": [], "steps": table, "seen": self.seen.note(self.shown(source))}

    def draft(self, source: str, name: str) -> tuple[Schedule | None, list[dict]]:
        """The schedule of a text; else its problems with their places."""
        if len(source.encode("utf-8", "replace")) > LARGEST_SCHEDULE:
            return None, [{"line": 0, "column": 0, "words": f"longer than {LARGEST_SCHEDULE // 1000} kB"}]
        try:
            return schedule_of(source, name), []
        except SettingsError as error:
            return None, [{"line": p.line, "column": p.column, "words": p.message} for p in error.problems]

    def shown(self, source: str) -> Shown:
        """All that a person sees with that text."""
        return shown_of(source, self.oven, self.model_file)

    def needs_word(self, schedule: Schedule, start_c: float | None) -> tuple[str, str]:
        """(which, words) of a risk that a person must accept separately before that start: the run is expected to trip
        or to fail, the oven cannot follow it, or its preview is not known yet. Two empty texts if there is none. Raises
        KilnctlError if the oven may not or cannot do it."""
        run = prepare(self.oven, schedule, self.model_file, start_c)
        plan = self.known_plan(schedule)
        if plan is not None and plan.outcome != "finished":
            ends = " ".join(w for w in plan.words[-1:])
            return "trip", f"it is expected not to end well: {plan.outcome}. {ends}".strip()
        if run.programme.shortfalls:
            return "shortfall", "the oven cannot follow it: " + "; ".join(s.note for s in run.programme.shortfalls)
        if plan is None:
            return "unknown", "what is to be expected of it is not worked out yet"
        return "", ""

    # ---- plans ----

    def ask_plan(self, schedule: Schedule, start_c: float | None, oven: Oven | None = None) -> Job:
        """Its preview (a RunPreview), as a question to the worker. A repeated question is answered at once. `oven`: of
        a run's record; else this one."""
        oven = oven or self.oven
        start = None if start_c is None or start_c < oven.site.ambient_c + 10.0 else round(start_c / 5.0) * 5.0
        key = ("plan", schedule.sha256, oven.sha256, self.model_file, start)
        return self.worker.ask(key, preview_of, oven, schedule, start, self.model_file)

    def known_plan(self, schedule: Schedule) -> RunPreview | None:
        """The newest preview of this schedule, oven and model, from any start temperature."""
        wanted = ("plan", schedule.sha256, self.oven.sha256, self.model_file)
        return self.worker.known(lambda key: isinstance(key, tuple) and key[:4] == wanted)

    # ---- records ----

    def runs(self, going_on: str = "") -> list[dict]:
        """The newest first: what run.json says of each. If a run has only its journal so far, what that says, for the
        newest FRESH of them. `going_on`: the folder of a run that is not over."""
        out, fresh = [], FRESH
        try:
            folders = sorted(
                (p for p in self.records.iterdir() if (p / "run.json").is_file()),
                key=lambda p: p.stat().st_mtime,
                reverse=True,
            )
        except OSError:
            return []
        for folder in folders[:MOST_RUNS]:
            try:
                said = json.loads((folder / "run.json").read_bytes())
                summary = said.get("summary") or {}
                if (said.get("oven") or {}).get("name") not in (None, self.oven.name):
                    continue
                told = {
                    "outcome": said.get("outcome") or "",
                    "energy_kwh": summary.get("energy_kwh"),
                    "duration_s": summary.get("duration_s"),
                    "highest_c": summary.get("highest_chamber_c"),
                }
                if going_on and Path(going_on).name == folder.name:
                    told["outcome"] = "going on"
                elif not summary and (fresh > 0 or folder.name in self._told):
                    fresh -= folder.name not in self._told
                    told = self._summary(folder)
                out.append(
                    {
                        "id": _id(folder),
                        "folder": folder.name,
                        "schedule": (said.get("schedule") or {}).get("name") or folder.name,
                        "started": said.get("started") or "",
                        **told,
                    }
                )
            except (OSError, ValueError, AttributeError):
                continue
        return out

    def _summary(self, folder: Path) -> dict:
        if folder.name not in self._told:
            try:
                self._told[folder.name] = self.worker.work_out(folder, summary_of, folder)
            except KilnctlError as error:
                told = {"outcome": str(error).replace(f"{folder}: ", "")[:80]}
                if str(error) == ENDED:  # that is no fault of the record: the next answer tries again
                    return told
                self._told[folder.name] = told
        return self._told[folder.name]

    def folder_of(self, run_id: str) -> Path:
        """The folder of a run's record. Raises KilnctlError."""
        try:
            folder = next((p for p in self.records.iterdir() if _id(p) == run_id and (p / "run.json").is_file()), None)
        except OSError:
            folder = None
        if folder is None:
            raise KilnctlError("there is no such run")
        return folder

    def past_curve(self, run_id: str) -> dict:
        """A past run as a picture: see `kilnctl.panel.past_run`. Raises KilnctlError."""
        folder = self.folder_of(run_id)
        return self.worker.work_out(("past", run_id), past_run, folder, self.oven)

    def report(self, run_id: str, unit: str = "C") -> str:
        """The page of evidence of one run. Raises KilnctlError."""
        folder = self.folder_of(run_id)
        key = ("report", run_id, unit)
        try:
            return self.worker.work_out(key, report_of, folder, unit, self.home)
        finally:
            self.worker.forget(key)

    # ---- tests of SAFETY.md ----

    def care(self) -> list[dict]:
        """Each test that comes round: name, what to do, state in words, whether it is due, who did it last and when.
        Raises KilnctlError."""
        return [
            {
                "name": d.test.name,
                "what": d.test.what,
                "state": state_of(d),
                "due": d.now,
                "days": d.days,
                "last": d.last.day if d.last else None,
                "by": d.last.by if d.last else None,
            }
            for d in due(known_log(self.home)[0] or (), datetime.date.today())
        ]

    # ---- sizing ----

    def sizing(self) -> dict:
        """How hot, and where the watts go: points for the pictures. Computed once."""
        return self.worker.work_out(sizing_of, sizing_of, self.oven)


def summary_of(folder: Path) -> dict:
    """The figures of a record without a summary. Raises KilnctlError."""
    record = read_run(folder)
    s = summarise(record)
    return {
        "outcome": record.outcome,
        "energy_kwh": s.energy_kwh,
        "duration_s": s.duration_s,
        "highest_c": s.highest_chamber_c,
    }


def report_of(folder: Path, unit: str, home: Path | None = None) -> str:
    """The page of one record; `home`: the folder with the oven's log of tests. Raises KilnctlError."""
    record = read_run(folder)
    units = Units(IMPERIAL if unit == "F" else METRIC)
    return run_page(record, summarise(record), units, care=known_log(home)[0])


def sizing_of(oven: Oven) -> dict:
    """See `Catalogue.sizing`. Raises KilnctlError."""
    made = size(oven)
    ambient, top = oven.site.ambient_c, min(oven.limits.highest_c, made.max_chamber_c - 1.0)
    at = [ambient + (top - ambient) * k / 24 for k in range(1, 25)]
    span = [made.power_range_w(t) for t in at]
    reach = made.max_chamber_range_c
    return {
        "oven": oven.name,
        "about": oven.about,
        "power_w": oven.elements.power_w,
        "ambient_c": ambient,
        "highest_c": oven.limits.highest_c,
        "trip_c": oven.limits.trip_at_c,
        "limiter_c": oven.limits.limiter_c,
        "reach_c": [reach.low, reach.value, reach.high],
        "at_c": at,
        "holding_w": [s.value for s in span],
        "holding_low_w": [s.low for s in span],
        "holding_high_w": [s.high for s in span],
        "shell_c": [made.shell_c(t) for t in at],
        "ledger_w": made.ledger_w(top),
        "ledger_at_c": top,
        "heat_up_s": float(made.heat_up_s(ambient, top - 1.0)),
        "assumptions": list(oven.assumptions),
    }


def expected(plan: RunPreview, schedule: Schedule) -> dict:
    """A plan for the page."""
    return {
        "name": schedule.name,
        "about": schedule.about,
        "outcome": plan.outcome,
        "words": list(plan.words),
        "duration_s": plan.duration_s,
        "energy_kwh": plan.energy_kwh,
        "highest_c": plan.highest_c,
        "follows": schedule.follows,
        "ledger_j": plan.ledger_j,
        "region": plan.region,
        "full_w": plan.full_w,
        "columns": plan.columns,
        "stretches": [
            {"step": s.step, "phase": s.phase, "name": s.name, "to_c": s.to_c, "begin_s": s.begin_s, "end_s": s.end_s}
            for s in plan.stretches
        ],
    }


def _id(folder: Path) -> str:
    """A name for the URL that is not a path."""
    return hashlib.sha256(folder.name.encode("utf-8", "replace")).hexdigest()[:16]
