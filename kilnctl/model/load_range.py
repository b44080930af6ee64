"""Which loads may be in an oven: how far the real one may be from what its file says.

Where its owner says how well it is known (`known within`), that counts; else it may be three times as heavy, and to the
energy limiter of an oven that was learnt half as heavy again."""

from dataclasses import dataclass, replace

from ..body import bodies_in, plate_of
from ..settings.construction import Load
from ..settings.oven import Oven

#: A load of which its file says nothing may be this many times as heavy, or as light (common practice: loads are not
#: weighed one by one).
LOAD_TIMES = 3.0
#: To the energy given, a load is never better known than this, a share: a door that shuts less well than while the oven
#: was learnt, with sags, took as much heat as a load 30 % heavier (tools/trials/fault_campaign). Once the oven is
#: learnt no load of which nothing is said counts as less well known: a sensor that reads low by a fifth looks like a
#: load 2.65 times as heavy, and with loads of up to twice one that read 14 % low was found too late. Who puts in more
#: says so.
LEAST_KNOWN = 0.5


@dataclass(frozen=True, slots=True)
class LoadRange:
    """share   the load's share of the heat capacity of shelf and load together, 0..1
    least, most   how many times the described mass, surface and mass for its surface a load may have
    declared   the file says how well it is known
    """

    share: float = 0.0
    least: float = 1.0 / LOAD_TIMES
    most: float = LOAD_TIMES
    declared: bool = False

    def times(self, of_load: float) -> float:
        """How many times the described contents, shelf and load, those with so many times the load are."""
        return 1.0 + (of_load - 1.0) * self.share

    @property
    def lightest(self) -> float:
        """`times` of the lightest load."""
        return self.times(self.least)

    @property
    def heaviest(self) -> float:
        """`times` of the heaviest load."""
        return self.times(self.most)


def load_range(oven: Oven, load: Load | None) -> LoadRange:
    """What may be in instead of `load`; None: nothing is in, and nothing else may be. How soon a wet one takes heat is
    known by no weighing."""
    share = load_share(oven, load)
    if load is None or load.known_within is None or load.moisture_kg > 0.0:
        return LoadRange(share)
    most = 1.0 + load.known_within
    return LoadRange(share, 1.0 / most, most, declared=True)


def energy_range(oven: Oven, load: Load | None, learnt: bool) -> LoadRange:
    """The same for what the energy given is compared with: not narrower than `LEAST_KNOWN`, and no heavier than that
    where nothing is said and the oven was `learnt`."""
    found = load_range(oven, load)
    if load is None or not (learnt or found.declared):
        return found
    most = 1.0 + max(LEAST_KNOWN, load.known_within or 0.0)
    return replace(found, least=1.0 / most if found.declared else found.least, most=most)


def load_share(oven: Oven, load: Load | None) -> float:
    """The load's share of the heat capacity of shelf and load together, 0..1."""
    held = {
        name: body.mass_kg * plate_of(oven, body).material.heat_capacity(0.5 * oven.limits.highest_c)
        for name, body in bodies_in(oven, load)
    }
    total = sum(held.values())
    return held.get("load", 0.0) / total if total > 0.0 else 0.0
