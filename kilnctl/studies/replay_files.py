"""The worst draws, saved as ovens that `kilnctl rehearse` plays again exactly."""

from dataclasses import replace
from pathlib import Path

from ..errors import KilnctlError
from ..model.trained_file import load_model, save_model
from ..settings.differences import Virtual
from ..settings.fields import key_of, setting_fields
from ..units import DIMENSIONS
from .draw import MEASURES, oven_of
from .many_draws import Study
from .sensitivity import spread


def worst_draws(study: Study) -> dict[int, list[str]]:
    """{draw: what it is worst in}; tripped draws first."""
    found: dict[int, list[str]] = {}
    for row in study.tripped[:3]:
        found[row["draw"]] = [f"tripped: {row['trips'][0][0]}"]
    for m in MEASURES:
        s = spread(study.values(m.name), m.worst)
        if s is not None and s.low != s.high:
            found.setdefault(s.worst_draw, []).append(m.words)
    return found


def save_worst(study: Study, folder: Path, model_file: str | Path | None = None) -> list[tuple[Path, str]]:
    """Write them below `folder`; returns (file, what it is worst in). The oven's own text is kept, with its comments.
    Raises KilnctlError where that cannot be done."""
    case, saved = study.case, []
    source = Path(case.oven.file)
    if not source.is_file():
        return []
    original = source.read_text(encoding="utf-8").rstrip("\n")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for draw, why in worst_draws(study).items():
            virtual, truth, _ = oven_of(case, draw)
            path = folder / f"draw-{draw}.yaml"
            if truth is not None:
                if model_file is None:
                    raise KilnctlError("the worst draws of a fit want the model's file too (--model FILE)")
                name = f"draw-{draw}.model.yaml"
                learnt = load_model(model_file, case.oven)
                save_model(
                    folder / name,
                    replace(
                        learnt,
                        model=truth,
                        load=case.load,
                        made=f"draw {draw} of a study",
                        covariance=(),
                        covariance_of=(),
                    ),
                )
                virtual = replace(virtual, balance=name)
            about = f"# Draw {draw} of a study with seed {case.seed}: worst in {', '.join(why)}."
            path.write_text(f"{original}\n\n{about}\n{block(virtual)}", encoding="utf-8")
            saved.append((path, ", ".join(why)))
    except OSError as error:
        raise KilnctlError(f"{folder}: cannot be written: {error.strerror}") from None
    return saved


def block(virtual: Virtual) -> str:
    """Its YAML, every number to the last bit."""
    lines = ["virtual:"]
    for f in setting_fields(Virtual):
        value = getattr(virtual, f.name)
        if value != f.default:
            unit = DIMENSIONS[f.metadata["dimension"]].unit if f.metadata["kind"] == "quantity" else "1"
            lines.append(
                f"  {key_of(f)}: {value!r}" + ("" if unit == "1" else f" {unit}")
                if not isinstance(value, str)
                else f"  {key_of(f)}: {value}"
            )
    return "\n".join(lines) + "\n"
