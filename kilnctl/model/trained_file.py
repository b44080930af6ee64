"""Trained models on disk: YAML with units, bounds, where it comes from, and a checksum.

    model: Curing cabinet
    made: 2024-05-17                        # given by the caller; nothing here reads a clock
    records: [{name: …, rms: 0.21 K}, …]
    parameters:
      element_j_per_k: {value: 1254, unit: J/K, error: 0.19, low: …, high: …, about: …}
    checksum: sha256 of everything above, in a fixed form

The checksum is no signature: it shows that a file was edited or damaged, not who made it. An edited model is refused
unless the caller allows it (`edited=True`), a model outside its bounds always."""

import hashlib
import json
import math
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import yaml

from ..errors import KilnctlError
from ..safety.misplaced import Place
from ..settings.construction import Load
from ..settings.oven import Oven
from .day_zero import day_zero
from .energy import EnergyModel
from .fit_result import Fit
from .parameters import PARAMETERS, out_of_bounds

FORMAT = 1
LARGEST_BYTES = 200_000
_UNITS = {
    "power_w": "W",
    "voltage_v": "V",
    "ambient_c": "°C",
    "rated_c": "°C",
    "resistance_rise_per_k": "1/°C",
    "leak_rise_per_k": "1/°C",
    "element_rise_per_k": "1/°C",
    "rise_per_k": "1/°C",
    "capacity_rise_per_k": "1/°C",
    "lining_j_per_k": "J/K",
    "lining_w_per_k": "W/K",
} | {p.field: p.unit for p in PARAMETERS}
#: Bounds of the parameters that the fit does not change.
_FIXED_BOUNDS = {
    "power_w": (20.0, 20000.0),
    "voltage_v": (12.0, 480.0),
    "ambient_c": (-30.0, 50.0),
    "rated_c": (0.0, 1400.0),
    "resistance_rise_per_k": (0.0, 0.01),
    "leak_rise_per_k": (-0.0005, 0.03),
    "element_rise_per_k": (0.0, 0.01),
}


@dataclass(frozen=True)
class TrainedModel:
    """A model with its provenance. `errors`: standard error of each logarithm; `load`: what was in the oven;
    learnt between low_c and high_c; `edited`: its checksum did not match and the caller allowed that. `covariance` of
    the logarithms of the parameters `covariance_of`; empty in files that were saved without it.

    Of a model that an oven's runs have taught (`kilnctl.record.model_store`): `version`, its number there (0: a file of
    its own); `runs`, how many runs it was learnt from; `guard`, the version that the rules' limits follow from (0: the
    description). What ordinary runs teach changes no limit.

    `place`: where the control sensor sits, as records with a second sensor showed it; None where none did."""

    oven_name: str
    model: EnergyModel
    load: Load | None
    working_c: float
    low_c: float
    high_c: float
    rms_k: float
    made: str
    records: tuple[tuple[str, float], ...]
    errors: dict[str, float]
    warnings: tuple[str, ...] = ()
    edited: bool = False
    file: str = ""
    covariance_of: tuple[str, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()
    version: int = 0
    runs: int = 0
    guard: int = 0
    place: Place | None = None

    @property
    def guards(self) -> bool:
        """Whether the rules' limits follow from this model: a person has chosen it, or asked for its learning run."""
        return self.guard == self.version

    def for_load(self, oven: Oven, load: Load | None) -> EnergyModel:
        """The model with another load: what was learnt about the oven stays, the contents change as the description
        says."""
        if load == self.load:
            return self.model
        here, there = day_zero(oven, self.load, self.working_c), day_zero(oven, load, self.working_c)
        changes: dict = {}
        for name in ("element_m2", "film_m2", "film_w_per_k", "element_w_per_k"):
            old = getattr(here, name)
            changes[name] = getattr(self.model, name) * (getattr(there, name) / old if old > 0.0 else 1.0)
        for name in ("contents_j_per_k", "contents_w_per_k", "contents_m2"):
            # The added load is as described; the earlier one is as it was learnt.
            changes[name] = max(0.0, getattr(self.model, name) + getattr(there, name) - getattr(here, name))
            if getattr(there, name) == 0.0:
                changes[name] = 0.0
        return self.model.but(**changes)


def trained(fit: Fit, made: str = "") -> TrainedModel:
    """The part of a fit that is saved. `made`: the day, as text, because this module reads no clock."""
    return TrainedModel(
        fit.oven_name,
        fit.model,
        fit.load,
        fit.working_c,
        fit.low_c,
        fit.high_c,
        fit.rms_c,
        made,
        tuple((r.name, r.rms_c) for r in fit.records),
        fit.log_errors,
        fit.warnings,
        covariance_of=tuple(fit.parameters),
        covariance=tuple(tuple(float(f"{v:.6g}") for v in row) for row in fit.covariance.tolist()),
        place=fit.place,
    )


def save_model(path: str | Path, model: TrainedModel | Fit, made: str = "") -> None:
    """Write a trained model. Raises KilnctlError where that cannot be done, and for a model outside its
    bounds."""
    try:
        Path(path).write_text(model_text(path, model, made), encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def model_text(path: str | Path, model: TrainedModel | Fit, made: str = "") -> str:
    """What `save_model` writes. Raises KilnctlError for a model outside its bounds."""
    if isinstance(model, Fit):
        model = trained(model, made)
    bad = problems_of(model.model)
    if bad:
        raise KilnctlError(f"{path}: this model is not saved: " + "; ".join(bad))
    content = _content(model)
    content["checksum"] = _checksum(content)
    head = (
        "# A trained model of kilnctl. Made by `kilnctl fit`; not for editing: the checksum at the end "
        "would no longer fit.\n"
        "# Standard errors are of the logarithm (0.1 is about 10 %).\n"
    )
    return head + yaml.safe_dump(content, sort_keys=False, allow_unicode=True, width=110)


def version_name(version: int) -> str:
    """The file's name of that version, in the folder of an oven's models."""
    return f"model-{version}.yaml"


def trained_words(trained: TrainedModel, working_c: float) -> str:
    """A description of a trained model in words, for a schedule up to working_c, °C."""
    when = f" on {trained.made}" if trained.made else ""
    records = f"{len(trained.records)} record{'' if len(trained.records) == 1 else 's'}"
    by = f"model {trained.version}, from {runs_words(trained.runs)}" if trained.version else ""
    words = (by or f"trained{when} from {records}") + f", {trained.rms_k:.2f} K rms, "
    words += f"between {trained.low_c:.0f} and {trained.high_c:.0f} °C"
    if working_c > trained.high_c + 20.0:
        words += f"; this schedule goes to {working_c:.0f} °C, above what was learnt"
    return words


def runs_words(runs: int) -> str:
    return f"{runs} run{'' if runs == 1 else 's'}"


def load_model(path: str | Path, oven: Oven | None = None, edited: bool = False) -> TrainedModel:
    """Read a trained model. Raises KilnctlError when it is damaged, out of bounds, of another oven, or edited
    (unless allowed)."""
    try:
        if Path(path).stat().st_size > LARGEST_BYTES:
            raise KilnctlError(f"{path}: far too large for a trained model")
        content = yaml.safe_load(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be read: {error.strerror}") from None
    except (yaml.YAMLError, UnicodeDecodeError, RecursionError) as error:
        raise KilnctlError(f"{path}: not a trained model: {str(error).splitlines()[0]}") from None
    if not isinstance(content, dict) or "parameters" not in content or "model" not in content:
        raise KilnctlError(f"{path}: not a trained model; `kilnctl fit OVEN RECORD --save FILE` makes one")
    if content.get("format") != FORMAT:
        raise KilnctlError(
            f"{path}: format {content.get('format')!r} of trained models is not known here; fit the records again"
        )
    said = content.pop("checksum", None)
    differs = said != _checksum(content)
    if differs and not edited:
        raise KilnctlError(
            f"{path}: its checksum does not fit: the file was edited or damaged since it was fitted. Fit "
            "the records again, or say "
            "that an edited model is wanted (--edited-model)"
        )
    try:
        made = _read(content, str(path), differs)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        what = f"'{error.args[0]}' is missing" if isinstance(error, KeyError) else str(error)
        raise KilnctlError(f"{path}: the model cannot be used: {what}") from None
    bad = problems_of(made.model)
    if bad:
        raise KilnctlError(f"{path}: outside its bounds: " + "; ".join(bad))
    if oven is not None:
        _fits(made, oven, str(path))
    return made


def _fits(made: TrainedModel, oven: Oven, path: str) -> None:
    if made.oven_name != oven.name:
        raise KilnctlError(f"{path}: this is a model of '{made.oven_name}', not of '{oven.name}'")
    if not 0.9 < made.model.power_w / oven.elements.power_w < 1.1:
        raise KilnctlError(
            f"{path}: learnt with elements of {made.model.power_w:.0f} W; {oven.name} now has "
            f"{oven.elements.power_w:.0f} W: learn again"
        )


def problems_of(model: EnergyModel) -> list[str]:
    """What is out of its bounds, in words."""
    out = out_of_bounds(model)
    for name, (low, high) in _FIXED_BOUNDS.items():
        if not low <= getattr(model, name) <= high:
            out.append(
                f"{name} = {getattr(model, name):g} {_UNITS[name]} is outside {low:g} to {high:g} {_UNITS[name]}"
            )
    return out


def _content(t: TrainedModel) -> dict:
    parameters: dict = {}
    for f in fields(EnergyModel):
        value = getattr(t.model, f.name)
        entry: dict = {
            "value": [float(v) for v in value] if isinstance(value, tuple) else float(value),
            "unit": _UNITS[f.name],
        }
        ours = [p for p in PARAMETERS if p.field == f.name]
        if ours:
            entry |= {
                "low": ours[0].low,
                "high": ours[0].high,
                "about": ours[0].doc if len(ours) == 1 else "of the lining, from the inside outward",
            }
            errors = [round(t.errors[p.name], 4) for p in ours if p.name in t.errors]
            if errors:
                entry["error"] = errors[0] if len(errors) == 1 else errors
        else:
            low, high = _FIXED_BOUNDS[f.name]
            entry |= {"low": low, "high": high}
        parameters[f.name] = entry
    load = None if t.load is None else {f.name: getattr(t.load, f.name) for f in fields(Load)}
    return {
        "model": t.oven_name,
        "format": FORMAT,
        "made": t.made or "undated",
        "records": [{"name": n, "rms": f"{r:.3f} K"} for n, r in t.records],
        "learnt": {
            "from": f"{t.low_c:.1f} °C",
            "to": f"{t.high_c:.1f} °C",
            "around": f"{t.working_c:.3f} °C",
            "rms": f"{t.rms_k:.4f} K",
        },
        "load": load,
        "warnings": list(t.warnings),
        **({"control sensor": asdict(t.place)} if t.place else {}),
        **({"version": t.version, "runs": t.runs, "guard": t.guard} if t.version else {}),
        "parameters": parameters,
    } | (
        # Lower triangle, row by row.
        {"covariance": {"of": list(t.covariance_of), "rows": [list(r[: i + 1]) for i, r in enumerate(t.covariance)]}}
        if t.covariance
        else {}
    )


def _number(text: str, unit: str) -> float:
    number, _, given = str(text).partition(" ")
    if given != unit:
        raise ValueError(f"'{text}' should be in {unit}")
    value = float(number)
    if not math.isfinite(value):
        raise ValueError(f"'{text}' is no number")
    return value


def _read(content: dict, path: str, differs: bool) -> TrainedModel:
    values: dict = {}
    errors: dict[str, float] = {}
    for f in fields(EnergyModel):
        if f.name in ("leak_rise_per_k", "element_rise_per_k") and f.name not in content["parameters"]:
            continue  # older files have none
        entry = content["parameters"][f.name]
        if entry["unit"] != _UNITS[f.name]:
            raise ValueError(f"{f.name} is given in {entry['unit']}, it should be {_UNITS[f.name]}")
        value = entry["value"]
        values[f.name] = tuple(float(v) for v in value) if isinstance(value, list) else float(value)
        ours = [p for p in PARAMETERS if p.field == f.name]
        if isinstance(value, list) and len(value) != 4:
            raise ValueError(f"{f.name} wants 4 values, not {len(value)}")
        said = entry.get("error", [])
        said = said if isinstance(said, list) else [said]
        errors |= {p.name: float(e) for p, e in zip(ours, said)}
    learnt = content["learnt"]
    load, place = content.get("load"), content.get("control sensor")
    names, covariance = _covariance(content.get("covariance"))
    return TrainedModel(
        str(content["model"]),
        EnergyModel(**values),
        None if load is None else Load(**load),
        _number(learnt["around"], "°C"),
        _number(learnt["from"], "°C"),
        _number(learnt["to"], "°C"),
        _number(learnt["rms"], "K"),
        str(content["made"]),
        tuple((str(r["name"]), _number(r["rms"], "K")) for r in content["records"]),
        errors,
        tuple(content.get("warnings") or ()),
        differs,
        path,
        names,
        covariance,
        _count(content, "version"),
        _count(content, "runs"),
        _count(content, "guard"),
        None if place is None else Place(float(place["near_elements"]), float(place["near_walls"])),
    )


def _count(content: dict, name: str) -> int:
    value = content.get(name, 0)
    if type(value) is not int or value < 0:
        raise ValueError(f"'{name}' should be a whole number from 0")
    return value


def _covariance(said) -> tuple[tuple[str, ...], tuple[tuple[float, ...], ...]]:
    if said is None:
        return (), ()
    names = tuple(str(n) for n in said["of"])
    rows = [[float(v) for v in row] for row in said["rows"]]
    known = {p.name for p in PARAMETERS}
    if len(rows) != len(names) or any(len(r) != i + 1 for i, r in enumerate(rows)) or not known.issuperset(names):
        raise ValueError("its covariance does not fit its parameters")
    if not all(math.isfinite(v) for r in rows for v in r):
        raise ValueError("its covariance holds what is no number")
    full = [[rows[max(i, j)][min(i, j)] for j in range(len(names))] for i in range(len(names))]
    return names, tuple(tuple(r) for r in full)


def _checksum(content: dict) -> str:
    text = json.dumps(
        {k: v for k, v in content.items() if k != "checksum"}, sort_keys=True, ensure_ascii=False, default=str
    )
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
