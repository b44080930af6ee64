"""The virtual oven that a description asks for: as described, or with the differences of its `virtual:` block."""

from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import KilnctlError
from ..model.model_oven import ModelOven
from ..model.trained_file import load_model
from ..plants.conditions import Conditions, Variation
from ..plants.injection import PlantFault
from ..plants.plant import Plant
from ..plants.probes import SensorErrors
from ..settings.construction import Load
from ..settings.differences import Virtual
from ..settings.oven import Oven

if TYPE_CHECKING:
    from ..plants.virtual_oven import VirtualOven


def virtual_oven(oven: Oven, load: Load | None = None, seed: int = 0, faults: Sequence[PlantFault] = ()) -> Plant:
    """A plant for that description. Seed 0 leaves the choice to the `virtual:` block. Raises KilnctlError for a model
    file that cannot be used, and for faults with a model as the plant: faults can be injected into the detailed oven
    only."""
    virtual = oven.virtual or Virtual()
    if virtual.balance is None:
        return drawn_oven(oven, virtual, load, seed, faults)
    if faults:
        raise KilnctlError(
            f"{oven.file}: faults can be injected into the detailed oven only, not into a model ('virtual: balance')"
        )
    model = load_model(Path(oven.file).parent / virtual.balance, oven).for_load(oven, load)
    return ModelOven(oven, model, seed or virtual.seed, conditions_of(virtual))


def drawn_oven(
    oven: Oven, virtual: Virtual, load: Load | None, seed: int = 0, faults: Sequence[PlantFault] = ()
) -> "VirtualOven":
    """The detailed oven with those differences."""
    from ..plants.virtual_oven import VirtualOven  # noqa: PLC0415 - a learning run on hardware simulates nothing

    return VirtualOven(
        oven,
        load=load,
        seed=seed or virtual.seed,
        faults=faults,
        conditions=conditions_of(virtual),
        variation=variation_of(virtual),
    )


def variation_of(v: Virtual) -> Variation:
    return Variation(**{f.name: getattr(v, f.name) for f in fields(Variation)})


def conditions_of(v: Virtual) -> Conditions:
    return Conditions(
        ambient_c=v.ambient_c,
        supply_share=v.supply,
        control=SensorErrors(offset_k=v.control_offset_k),
        limit=SensorErrors(offset_k=v.limit_offset_k),
        part=SensorErrors(offset_k=v.part_offset_k),
    )
