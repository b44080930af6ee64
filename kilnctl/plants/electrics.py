"""From the command to watts: supply, contactor, relays, element groups. The firing stage counts whole mains cycles;
here only a tick's share of fired cycles matters, because the elements are slower than a cycle."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from .injection import PlantFault

#: The coil drops out below about this share of its voltage (common practice, from memory).
DROP_OUT_SHARE = 0.3


@dataclass
class Electrics:
    """State of contactor and relays. `advance` returns watts per group and what meters would show."""

    nominal_v: float
    rated_w: float
    groups: int
    contactor_delay_s: float
    closed: bool = False
    _waiting_s: float = 0.0
    #: Groups that have melted through, permanently; empty when all are whole.
    burnt: list[bool] = field(default_factory=list)

    def burn(self, group: int) -> None:
        """Group number `group` (0, 1, …) has melted through."""
        self.burnt = self.burnt or [False] * self.groups
        self.burnt[group] = True

    def contactor_share(self, dt_s: float, coil: bool) -> float:
        """Share of the tick in which the contactor is closed; it follows its coil after the delay."""
        if coil == self.closed:
            self._waiting_s = 0.0
            return 1.0 if self.closed else 0.0
        remaining = self.contactor_delay_s - self._waiting_s
        if remaining >= dt_s:
            self._waiting_s += dt_s
            return 1.0 if self.closed else 0.0
        before = max(0.0, remaining) / dt_s
        self.closed, self._waiting_s = coil, 0.0
        return 1.0 - before if coil else before

    def advance(
        self,
        dt_s: float,
        duty: Sequence[float],
        coil: bool,
        supply_share: float,
        resistance_factor: Sequence[float],
        faults: Sequence[PlantFault] = (),
    ) -> tuple[list[float], float, float, float]:
        """Watts in each group (mean over the tick), fired share, supply voltage V, current A (rms, while on).

        `duty` per group, `supply_share` voltage over nominal, `resistance_factor` resistance over rated, per group.
        """
        groups = self.groups
        on, whole = list(duty), [not burnt for burnt in self.burnt] if self.burnt else [True] * groups
        held = None
        if faults:
            _break_groups(faults, on, whole)
            supply_share = _supply_left(faults, supply_share)
            held = _contactor_held(faults)
        if supply_share <= DROP_OUT_SHARE:
            coil = False
        share = self.contactor_share(dt_s, coil)
        if held is not None:
            self.closed, share = held, 1.0 if held else 0.0
        voltage = self.nominal_v * supply_share
        full = self.rated_w / groups * supply_share * supply_share
        watts, fired, current = [], 0.0, 0.0
        for g in range(groups):
            reach = on[g] * share if whole[g] and supply_share > 0.0 else 0.0
            watts.append(full / resistance_factor[g] * reach)
            fired += reach
            if reach > 0.0:
                current += full / resistance_factor[g] / voltage
        return watts, fired / groups, voltage, current


def _break_groups(faults: Sequence[PlantFault], on: list[float], whole: list[bool]) -> None:
    """The groups' duties `on`, and which groups are `whole`, after broken relays and elements."""
    for fault in faults:
        for g in range(len(on)) if fault.group is None else (fault.group - 1,):
            match fault.kind:
                case "relay shorted":
                    on[g] = 1.0
                case "relay half-shorted":
                    on[g] = on[g] + 0.5 * (1.0 - on[g])
                case "relay open":
                    on[g] = 0.0
                case "element group broken":
                    whole[g] = False
        if fault.kind == "element broken":
            whole[:] = [False] * len(whole)


def _supply_left(faults: Sequence[PlantFault], share: float) -> float:
    """The supply's voltage over nominal with these faults."""
    for fault in faults:
        if fault.kind == "supply lost":
            share = 0.0
        elif fault.kind == "supply sag":
            share *= 1.0 - fault.extent
    return share


def _contactor_held(faults: Sequence[PlantFault]) -> bool | None:
    """Whether a fault holds the contactor closed (welded, which comes first) or open; None: it follows its coil."""
    kinds = {fault.kind for fault in faults}
    if "contactor welded" in kinds:
        return True
    return False if "contactor not pulling in" in kinds else None
