"""What a load gives off that can burn."""

from collections.abc import Iterator
from dataclasses import dataclass

from ..thermal.vapour import CHLORINATED, SOLVENTS
from .fields import choice, flag, quantity


@dataclass(frozen=True, kw_only=True)
class Vapour:
    """Powder on the parts, or a solvent, or what a maker's data sheet says. The sheet goes before the rest."""

    powder_kg: float | None = quantity(
        "mass", "powder on all parts together", default=None, low=1e-6, high=50.0, example="60 g or 2 oz"
    )
    volatiles: float | None = quantity(
        "fraction",
        "share of the powder's mass that it gives off, from its data sheet (9 % is reckoned where it is not known)",
        default=None,
        low=1e-4,
        high=0.5,
        example="4 %",
    )
    solvent: str | None = choice((*sorted(SOLVENTS), CHLORINATED), "solvent that is still on the parts", default=None)
    solvent_kg: float | None = quantity(
        "mass",
        "how much of it at most when the door is shut",
        default=None,
        low=1e-6,
        high=50.0,
        key="solvent mass",
        example="2 g",
    )
    given_off_kg: float | None = quantity(
        "mass",
        "data sheet: all flammable vapour that this load gives off",
        default=None,
        low=1e-6,
        high=50.0,
        example="2.5 g",
    )
    lower_limit_kg_per_m3: float | None = quantity(
        "density",
        "data sheet: lower explosive limit of that vapour at 20 °C",
        default=None,
        low=0.005,
        high=0.5,
        key="lower explosive limit",
        example="44 g/m³",
    )
    ignition_c: float | None = quantity(
        "temperature", "data sheet: auto-ignition temperature of the vapour", default=None, low=80.0, high=700.0
    )
    over_s: float | None = quantity(
        "time",
        "shortest time in which most of it is given off (usually 10 min for powder, 5 min for a solvent)",
        default=None,
        low=10.0,
        high=86400.0,
        key="given off in",
    )
    metallic: bool = flag("the powder holds aluminium or other metal flakes", default=False)

    def problems(self) -> Iterator[tuple[str, str]]:
        if (self.solvent_kg is not None) != (self.solvent is not None) and self.solvent != CHLORINATED:
            yield "solvent", "'solvent' and 'solvent mass' belong together"
        if (self.given_off_kg is None) != (self.lower_limit_kg_per_m3 is None):
            yield "given_off_kg", "'given off' and 'lower explosive limit' of the data sheet belong together"
        if self.volatiles is not None and self.powder_kg is None:
            yield "volatiles", "'volatiles' is a share of the powder: give 'powder' too"
        if self.metallic and self.powder_kg is None:
            yield "metallic", "'metallic' says what the powder is: give 'powder' too"
        if self.powder_kg is None and self.solvent is None and self.given_off_kg is None:
            yield (
                "over_s",
                (
                    "say what gives off the vapour: 'powder', or 'solvent' and 'solvent mass', or 'given off' and "
                    "'lower explosive limit' of the data sheet"
                ),
            )
