"""The oven's circuit as wiring rules see it: which rules, which conductors, what current."""

import math
from dataclasses import dataclass

from ..settings.oven import Oven
from ..terms import Finding, Mark
from ..thermal.wiring_rules import CANADA, CONTINUOUS, IEC, NORTH_AMERICAN, PLUGS, UK, US

#: Below this voltage, V, the oven is fed by a transformer.
TRANSFORMER_BELOW_V = 50.0
THREE_PHASE = ("star", "delta")
_CITED = {
    IEC: {
        "overload": "IEC 60364-4-43, 433.1",
        "capacity": "IEC 60364-5-52, tables B.52",
        "drop": "IEC 60364-5-52, annex G",
        "earth": "IEC 60364-5-54, table 54.2",
        "leakage": "IEC 60364-4-41, 411.3.3",
        "poles": "IEC 60364-4-46",
        "coil": "IEC 60204-1, 6.4 and 9.4.3.1",
    },
    UK: {
        "overload": "BS 7671, 433.1.1",
        "capacity": "BS 7671, appendix 4",
        "drop": "BS 7671, appendix 4",
        "earth": "BS 7671, table 54.7",
        "leakage": "BS 7671, 411.3.3",
        "poles": "BS 7671, chapter 46",
        "coil": "IEC 60204-1, 6.4 and 9.4.3.1",
    },
    US: {
        "overload": "NFPA 70, 210.20(A), 424 and 425",
        "capacity": "NFPA 70, 240.4(D), 240.4(B) and table 310.16",
        "drop": "NFPA 70, 210.19, note",
        "earth": "NFPA 70, table 250.122",
        "leakage": "UL 943 and UL 1053",
        "poles": "NFPA 70, 240.15(B)",
        "coil": "NFPA 79, 9.1",
    },
    CANADA: {
        "overload": "CSA C22.1, 8-104",
        "capacity": "CSA C22.1, 14-104 and table 2",
        "drop": "CSA C22.1, 8-102",
        "earth": "CSA C22.1, table 16",
        "leakage": "UL 943 and UL 1053",
        "poles": "CSA C22.1, 14-010",
        "coil": "NFPA 79, 9.1",
    },
}


@dataclass(frozen=True)
class Circuit:
    """line_a: current in each live conductor at the nominal voltage, A; most_a: at the supply's upper tolerance;
    loaded: conductors that carry it; rules and connection: as described, or as voltage, frequency and plug tell."""

    oven: Oven
    rules: str
    connection: str
    line_a: float

    @property
    def most_a(self) -> float:
        return self.line_a * (1.0 + self.oven.supply.tolerance)

    @property
    def three_phase(self) -> bool:
        return self.connection in THREE_PHASE

    @property
    def loaded(self) -> int:
        return 3 if self.three_phase else 2

    @property
    def poles(self) -> int:
        """Poles that cut all live conductors."""
        return 3 if self.three_phase else 2

    @property
    def north_american(self) -> bool:
        return self.rules in NORTH_AMERICAN

    @property
    def continuous(self) -> float:
        """Factor on a load of three hours or more, for sizing breaker and cable."""
        return CONTINUOUS if self.north_american else 1.0

    @property
    def reversible(self) -> bool:
        """Whether line and neutral may be swapped (a reversible plug)."""
        plug = self.oven.supply.plug
        return plug in PLUGS and PLUGS[plug].reversible

    @property
    def rated_c(self) -> float:
        """Highest temperature of the cable's insulation, °C."""
        return self.oven.supply.cable_rated_c or (60.0 if self.north_american else 70.0)

    def cite(self, what: str) -> str:
        """The clause of these rules on that subject."""
        return f"{_CITED[self.rules][what]}, from memory"


def circuit_of(oven: Oven) -> Circuit:
    """The circuit from a description."""
    supply, watts = oven.supply, oven.elements.rated_w
    rules, connection = _rules(oven), supply.connection or _connection(oven)
    root = math.sqrt(3.0) if connection in THREE_PHASE else 1.0
    return Circuit(oven, rules, connection, watts / (root * supply.voltage_v))


def _rules(oven: Oven) -> str:
    if oven.supply.rules is not None:
        return oven.supply.rules
    if oven.supply.frequency_hz > 55.0:
        return US
    return UK if oven.supply.plug == "BS 1363" else IEC


def _connection(oven: Oven) -> str:
    volts, sixty = oven.supply.voltage_v, oven.supply.frequency_hz > 55.0
    if volts > 300.0 or (sixty and 190.0 <= volts <= 255.0):
        return "two lines"
    return "line and neutral"


def connection_findings(c: Circuit) -> list[Finding]:
    """What the voltage and the type of connection alone require."""
    o, volts = c.oven, c.oven.supply.voltage_v
    if volts < TRANSFORMER_BELOW_V:
        return [
            Finding(
                "supply",
                Mark.WRONG,
                f"{volts:g} V comes from a transformer: switching it on in bursts at the zero crossing is its worst "
                "inrush, and a half-shorted relay saturates it; this way of firing is not for transformers",
                "common practice",
            )
        ]
    if c.three_phase:
        return _three_phase_findings(c)
    if o.supply.connection is None and volts > 300.0:
        return [
            Finding(
                "supply",
                Mark.ASKED,
                f"{volts:g} V: two lines, star or delta? (supply: connection) Reckoned as elements between two lines; "
                f"three phases would be {o.elements.rated_w / math.sqrt(3.0) / volts:.1f} A in each line",
            )
        ]
    if c.connection == "two lines":
        return [
            Finding(
                "supply",
                Mark.FINE,
                f"{volts:g} V between two lines: both are live to earth, so relay and contactor leave nothing dead "
                "unless both are cut; see the poles below",
            )
        ]
    return []


def _three_phase_findings(c: Circuit) -> list[Finding]:
    o, found = c.oven, []
    if o.elements.groups % 3:
        found.append(
            Finding(
                "phases",
                Mark.WRONG,
                f"{o.elements.groups} group{'s do' if o.elements.groups != 1 else ' does'} not load three lines alike: "
                "3 or 6 (elements: groups)",
            )
        )
    neutral = "the neutral carries as much as a line, " if c.connection == "star" else ""
    found.append(
        Finding(
            "phases",
            Mark.TIGHT,
            f"{c.connection}, {c.line_a:.1f} A in each line while all groups are on; fired one after another they load "
            f"the lines unlike: {neutral}each line needs a relay of its own, and all that is said of flicker here is "
            "for one phase",
        )
    )
    if o.meters.current or o.meters.supply:
        found.append(
            Finding(
                "meters",
                Mark.WRONG,
                "power is reckoned from one voltage and one current, which is not that of three phases: leave 'meters: "
                "supply' and 'current' out, and have a person watch",
            )
        )
    return found
