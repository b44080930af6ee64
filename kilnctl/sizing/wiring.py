"""Verdicts on the described supply and switching by the wiring rules of its country. Hints for the maker: local wiring
codes and a licensed electrician decide."""

import math
from dataclasses import dataclass

from ..settings.oven import Oven
from ..terms import Finding, Mark
from .cabling import cabling_findings, voltage_drop
from .circuit import Circuit, circuit_of, connection_findings
from .switchgear import cabinet_c, largest_sink_k_per_w, relay_loss_w, step_finding, switchgear_findings


@dataclass(frozen=True)
class Wiring:
    """current_a in A in each live conductor; voltage_drop (share; None where cable or length are not described), step
    (share the supply dips when the elements switch on), relay_loss_w in W, sink_k_per_w in K/W (largest heat sink
    resistance, in air of cabinet_c °C), findings by the rules named."""

    current_a: float
    connection: str
    rules: str
    voltage_drop: float | None
    step: float
    relay_loss_w: float
    sink_k_per_w: float
    cabinet_c: float
    findings: tuple[Finding, ...]

    def marked(self, mark: Mark) -> tuple[Finding, ...]:
        """The findings with that verdict."""
        return tuple(f for f in self.findings if f.mark is mark)


def wiring_of(oven: Oven) -> Wiring:
    """Current and what it means for breaker, cable, plug, earth, relay, contactor and lights."""
    c = circuit_of(oven)
    step = supply_step(c)
    found = (
        *connection_findings(c),
        *cabling_findings(c),
        *switchgear_findings(c),
        *step_finding(c, step),
    )
    return Wiring(
        current_a=c.line_a,
        connection=c.connection,
        rules=c.rules,
        voltage_drop=voltage_drop(c),
        step=step,
        relay_loss_w=relay_loss_w(c),
        sink_k_per_w=largest_sink_k_per_w(c),
        cabinet_c=cabinet_c(c),
        findings=found,
    )


def supply_step(c: Circuit) -> float:
    """Share by which the supply dips: a resistive load behind R + jX is a voltage divider, in which X, in quadrature,
    has little effect."""
    s = c.oven.supply
    load = s.voltage_v**2 / c.oven.elements.rated_w
    return 1.0 - load / math.hypot(load + s.resistance_ohm, s.reactance_ohm)
