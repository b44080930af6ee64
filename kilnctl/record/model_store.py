"""The versions of an oven's model that its runs have taught: which one is in use, which were kept aside and why.

    models/ledger          which version is in use, and where each comes from (JSON with a checksum)
    models/model-3.yaml    a trained model; a version is never written again

Version 0 is the description. A virtual rig has a folder of its own: what it teaches is not true of the real oven."""

import contextlib
import fcntl
import os
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.parameters import PARAMETERS, value_of
from ..model.trained_file import TrainedModel, load_model, model_text, version_name
from ..settings.oven import Oven
from ..terms import Taught
from .durable import load_state, make_folder, save_state, write_whole

#: A description is another one when a parameter of its model differs by more than this share.
SAME_SHARE = 0.01
#: At most so many versions and so many names of runs are kept; the model in use, and its ancestors that count, are
#: always among them.
MOST_VERSIONS, MOST_SEEN = 200, 400
#: A new version has to predict so many earlier runs.
EARLIER = 3


@dataclass(frozen=True, slots=True)
class Version:
    """One version, and how it came about.

    state        a `Taught`
    run          folder of the record that taught it; empty if a person added it
    runs         how many runs it has learnt from
    parent       the version that it began from
    guard        the version that the rules' limits follow from; 0: the description
    predicted_k  rms error with which its parent predicted the run, K; after_k: its own; None if not known
    words        why it was kept aside, or what has changed
    """

    number: int
    state: str
    made: str
    run: str = ""
    runs: int = 0
    parent: int = 0
    guard: int = 0
    predicted_k: float | None = None
    after_k: float | None = None
    words: str = ""


@dataclass(frozen=True)
class Ledger:
    """`doubted`: the version kept aside after the last run because the oven may have changed; 0: none. `compared`: the
    version since which no change was reported. `seen`: (folder, words) of runs that were looked at. `description`: the
    description's parameters that all this began from, with the checksum of its file."""

    in_use: int = 0
    pinned: bool = False
    doubted: int = 0
    compared: int = 0
    versions: tuple[Version, ...] = ()
    seen: tuple[tuple[str, str], ...] = ()
    oven_sha256: str = ""
    description: dict[str, float] | None = None

    def version(self, number: int) -> Version | None:
        return next((v for v in self.versions if v.number == number), None)

    def lineage(self) -> list[Version]:
        """The version in use and those that it was learnt from, the newest first, back to the last change."""
        out, number = [], self.in_use
        while (version := self.version(number)) is not None:
            out.append(version)
            number = 0 if version.state == Taught.CHANGED else version.parent
        return out


def store_of(home: Path, rig_kind: str) -> "ModelStore":
    """The models of the oven with that state folder, of its real rigs or of the virtual one."""
    return ModelStore(home / ("models-virtual" if rig_kind == "virtual" else "models"))


class ModelStore:
    """What is written waits for the disk, and for another process that writes: never call it from the tick."""

    def __init__(self, folder: Path):
        self.folder = folder

    def ledger(self) -> Ledger:
        """What is known; nothing where there is no ledger or none that can be read."""
        said = load_state(self.folder / "ledger") or {}
        try:
            names = {f.name for f in fields(Ledger)}
            said = {k: v for k, v in said.items() if k in names}
            versions = tuple(Version(**v) for v in said.pop("versions", ()))
            seen = tuple((str(a), str(b)) for a, b in said.pop("seen", ()))
            return Ledger(**said, versions=versions, seen=seen)
        except (TypeError, ValueError):
            return Ledger()

    def changed_ns(self) -> int:
        """When it was last changed, ns; 0 if there is nothing."""
        try:
            return (self.folder / "ledger").stat().st_mtime_ns
        except OSError:
            return 0

    def file(self, number: int) -> Path:
        return self.folder / version_name(number)

    def holds(self, file: str) -> bool:
        """Whether that file is a version of this store."""
        return bool(file) and Path(file).resolve().parent == self.folder.resolve()

    def model(self, number: int, oven: Oven | None = None) -> TrainedModel | None:
        """That version; None for the description. Raises KilnctlError if it cannot be used."""
        return load_model(self.file(number), oven) if number else None

    def in_use(self, oven: Oven) -> tuple[str, str]:
        """(file, note): the model for the next run, or an empty text for the description's; the note says why a learnt
        model is not used."""
        ledger = self.ledger()
        if not ledger.in_use:
            return "", ""
        if not self.same_description(ledger, oven):
            return "", f"the description has been changed since model {ledger.in_use} was learnt: learning begins again"
        try:
            self.model(ledger.in_use, oven)
        except KilnctlError as error:
            return "", f"model {ledger.in_use} cannot be used, the description's is: {error}"
        return str(self.file(ledger.in_use)), ""

    @staticmethod
    def same_description(ledger: Ledger, oven: Oven) -> bool:
        """Whether the description still says what it said when learning began; comments and limits may differ."""
        if ledger.description is None or ledger.oven_sha256 == oven.sha256:
            return True
        now = description_of(oven)
        return now.keys() == ledger.description.keys() and all(
            abs(now[n] / v - 1.0) <= SAME_SHARE for n, v in ledger.description.items()
        )

    # ---- changes ----

    def for_description(self, oven: Oven) -> Ledger:
        """What was learnt from the description of `oven`; learning begins again where it began from another, or has not
        begun."""
        ledger = self.ledger()
        begun = ledger.description is not None and self.same_description(ledger, oven)
        return ledger if begun else self.begin_anew(oven)

    def begin_anew(self, oven: Oven) -> Ledger:
        """Learning begins from the description of `oven`; the versions stay, to be looked at."""
        with self._changing() as ledger:
            return self._keep(
                replace(
                    ledger,
                    in_use=0,
                    pinned=False,
                    doubted=0,
                    compared=0,
                    oven_sha256=oven.sha256,
                    description=description_of(oven),
                )
            )

    def add(self, model: TrainedModel, version: Version, *, guards: bool, doubted: bool = False) -> Version:
        """Keep a model as the next version. It is put to use unless its state says that it is kept aside. `guards`: the
        rules' limits follow from it; `doubted`: it was kept aside because the oven may have changed."""
        with self._changing() as ledger:
            number = self._next(ledger)
            parent = ledger.version(version.parent)
            guard = number if guards else parent.guard if parent is not None else 0
            version = replace(version, number=number, guard=guard)
            text = model_text(self.file(number), replace(model, version=number, runs=version.runs, guard=guard))
            write_whole(self.file(number), text.encode())
            used = version.state != Taught.ASIDE
            versions = (*ledger.versions, version)
            steady = not ledger.compared and version.runs >= EARLIER
            told = used and (version.state in (Taught.CHANGED, Taught.ADDED) or steady)
            self._keep(
                replace(
                    ledger,
                    in_use=number if used else ledger.in_use,
                    doubted=number if doubted else 0,
                    compared=number if told else ledger.compared,
                    versions=versions,
                    seen=(*ledger.seen, (version.run, version.words)) if version.run else ledger.seen,
                )
            )
            return version

    def add_chosen(self, model: TrainedModel, oven: Oven, made: str = "", words: str = "") -> Version:
        """Put a model that a person chose to use; the rules' limits follow from it, and later runs go on from it."""
        self.for_description(oven)
        version = Version(0, Taught.ADDED, made, runs=model.runs or len(model.records), words=words)
        return self.add(model, version, guards=True)

    def note(self, run: str, words: str) -> None:
        """Remember that this run taught nothing, and why."""
        with self._changing() as ledger:
            self._keep(replace(ledger, seen=(*ledger.seen, (run, words))))

    def pin(self, number: int) -> None:
        """Use that version until `unpin`. Raises KilnctlError if there is none."""
        with self._changing() as ledger:
            if number and ledger.version(number) is None:
                raise KilnctlError(f"there is no model {number}; `kilnctl models` lists them")
            if number:
                self.model(number)  # refuses a damaged one
            self._keep(replace(ledger, in_use=number, pinned=True, doubted=0))

    def unpin(self) -> None:
        with self._changing() as ledger:
            self._keep(replace(ledger, pinned=False))

    def undo(self) -> tuple[int, int]:
        """Go back to the version before; returns (undone, now in use). Raises KilnctlError if there is none."""
        with self._changing() as ledger:
            now = ledger.version(ledger.in_use)
            if now is None:
                raise KilnctlError("there is nothing to undo: the description's model is in use")
            versions = tuple(replace(v, state=Taught.UNDONE) if v is now else v for v in ledger.versions)
            parent = now.parent if ledger.version(now.parent) is not None else 0
            self._keep(replace(ledger, in_use=parent, pinned=False, doubted=0, versions=versions))
            return now.number, parent

    @contextlib.contextmanager
    def _changing(self) -> Iterator[Ledger]:
        """The newest ledger, while no other process changes it. Raises KilnctlError where it cannot be written."""
        try:
            make_folder(self.folder)
            with open(self.folder / "lock", "a") as lock:
                fcntl.flock(lock, fcntl.LOCK_EX)
                yield self.ledger()
        except OSError as error:
            raise KilnctlError(f"{error.filename or self.folder}: cannot be written: {error.strerror}") from None

    def _next(self, ledger: Ledger) -> int:
        """A number that no version and no file has: a damaged ledger must not cost a model."""
        names = [re.fullmatch(r"model-(\d+)\.yaml", name) for name in os.listdir(self.folder)]
        return 1 + max([0, *(v.number for v in ledger.versions), *(int(m[1]) for m in names if m)])

    def _keep(self, ledger: Ledger) -> Ledger:
        bound = {ledger.in_use, ledger.doubted, ledger.compared, *(v.number for v in ledger.lineage()[: EARLIER + 1])}
        bound |= {v.guard for v in ledger.versions if v.number in bound}
        free = [v for v in ledger.versions if v.number not in bound]
        gone = {v.number for v in free[: max(0, len(ledger.versions) - MOST_VERSIONS)]}
        kept = tuple(v for v in ledger.versions if v.number not in gone)
        ledger = replace(ledger, versions=kept, seen=ledger.seen[-MOST_SEEN:])
        save_state(self.folder / "ledger", asdict(ledger))
        for number in gone:
            self.file(number).unlink(missing_ok=True)
        return ledger


def description_of(oven: Oven) -> dict[str, float]:
    """The parameters of the empty oven's day-zero model that are there."""
    model = day_zero(oven)
    return {p.name: value_of(model, p) for p in PARAMETERS if value_of(model, p) > 0.0}
