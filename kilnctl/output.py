"""How quantities are shown to people: one choice, metric or imperial, for all that a command prints; times with their
units.

A sentence that is made where the reader's units are not known is metric; `Units.words` converts its quantities.
Imports nothing but the units.
"""

import dataclasses
import math
import re
import shlex
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from .gauges import nearest_awg
from .units import UNITS

if TYPE_CHECKING:
    import numpy as np

METRIC, IMPERIAL = "metric", "imperial"
#: So many degrees Fahrenheit is one kelvin (NIST SP 811, appendix B.8).
_F_PER_K = 1.8
#: One number, or an array of them.
_Values = TypeVar("_Values", float, "np.ndarray")
_INCH, _FOOT, _POUND, _BTU = UNITS["in"][0], UNITS["ft"][0], UNITS["lb"][0], UNITS["BTU"][0]
_NUMBER = r"(?:[-+−±]\s?)?\d+(?:\.\d+)?"
_METRIC_UNITS = "K/kWh|°C/h|°C/min|K/h|K/min|K/s|°C|K|W/cm²|mm²|mm|m³/h|m/s|kg/m³|kg|m²|m"
#: Several numbers may share one unit: "20 to 190 °C", "-1.2 … +0.8 K".
_QUANTITY = re.compile(
    rf"(?<![\w.])(?P<before>(?:{_NUMBER}\s(?:to|…|–)\s)*)(?P<last>{_NUMBER})\s(?P<unit>{_METRIC_UNITS})"
    r"(?![\w²³/·⁻])"
)
#: Unit → (imperial unit, factor). Temperatures are converted apart, since their zero differs; power of elements and
#: energy from the mains stay in W and kWh.
_TURNED = {
    "K/kWh": ("°F/kWh", _F_PER_K),
    "°C/h": ("°F/h", _F_PER_K),
    "°C/min": ("°F/min", _F_PER_K),
    "K/h": ("°F/h", _F_PER_K),
    "K/min": ("°F/min", _F_PER_K),
    "K/s": ("°F/s", _F_PER_K),
    "K": ("°F", _F_PER_K),
    "W/cm²": ("W/in²", (100.0 * _INCH) ** 2),
    "mm": ("in", 1e-3 / _INCH),
    "m": ("ft", 1.0 / _FOOT),
    "m²": ("ft²", _FOOT**-2),
    "m³/h": ("cfm", 1.0 / 60.0 / _FOOT**3),
    "m/s": ("ft/min", 60.0 / _FOOT),
    "kg": ("lb", 1.0 / _POUND),
    "kg/m³": ("lb/ft³", _FOOT**3 / _POUND),
}


def fahrenheit(celsius: _Values) -> _Values:
    """°C to °F; a number or an array."""
    return celsius * _F_PER_K + 32.0


def celsius(shown_f: _Values) -> _Values:
    """°F to °C; a number or an array."""
    return (shown_f - 32.0) / _F_PER_K


def clock(seconds: float) -> str:
    """A moment or a duration to the second: "45 s", "3 min 26 s", "1 h 02 min 03 s"; "–" where there is none."""
    if not math.isfinite(seconds):
        return "–"
    minutes, rest = divmod(round(abs(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    said = [f"{hours} h"] if hours else []
    said += [f"{minutes:02d} min" if hours else f"{minutes} min"] if minutes or (hours and rest) else []
    said += [f"{rest:02d} s" if minutes or hours else f"{rest} s"] if rest or not (hours or minutes) else []
    return ("-" if seconds <= -0.5 else "") + " ".join(said)


def typed(*words: object) -> str:
    """A command as a shell takes it: a path with a space in it stands in quotes."""
    return shlex.join(str(word) for word in words)


def about(seconds: float) -> str:
    """A time that is only known roughly, s → "50 s", "13 min", "2 h 36 min", "3 d 4 h"; "–" where there is none."""
    if not math.isfinite(seconds):
        return "–"
    if abs(seconds) < 99.5:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    if minutes < 60:
        return f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h" + (f" {minutes} min" if minutes else "")
    hours = round(seconds / 3600.0)
    return f"{hours // 24} d" + (f" {hours % 24} h" if hours % 24 else "")


@dataclass(frozen=True)
class Units:
    """Formats quantities in the reader's units. Arguments are SI, temperatures °C. `known_c` are temperatures that
    sentences may have rounded: a limit of 465 °F is "241 °C" in a sentence, and must come back as 465 °F, not as 466
    °F; `known_k_per_h` are rates, for the same reason."""

    system: str = METRIC
    known_c: tuple[float, ...] = ()
    known_k_per_h: tuple[float, ...] = ()

    @property
    def imperial(self) -> bool:
        return self.system == IMPERIAL

    @property
    def degree(self) -> str:
        """The unit of temperatures."""
        return "°F" if self.imperial else "°C"

    @property
    def kelvin(self) -> str:
        """The unit of differences of temperature."""
        return "°F" if self.imperial else "K"

    def degrees(self, values_c: _Values) -> _Values:
        """Temperatures on the reader's scale; a number or an array."""
        return fahrenheit(values_c) if self.imperial else values_c

    def celsius(self, shown: float) -> float:
        """°C of a temperature on the reader's scale."""
        return celsius(shown) if self.imperial else shown

    def kelvins(self, values_k: _Values) -> _Values:
        """Differences of temperature on the reader's scale; a number or an array."""
        return values_k * _F_PER_K if self.imperial else values_k

    def knowing(self, *things) -> "Units":
        """The same, knowing the temperatures and rates of these settings (dataclasses), or temperatures as numbers."""
        found = {c for thing in things for c in temperatures_in(thing)} | set(self.known_c)
        steps = [step for thing in things for step in getattr(thing, "steps", ())]
        rates = {3600.0 * step.at_k_per_s for step in steps if step.at_k_per_s is not None} | set(self.known_k_per_h)
        return dataclasses.replace(self, known_c=tuple(sorted(found)), known_k_per_h=tuple(sorted(rates)))

    def temperature(self, celsius: float, decimals: int = 0) -> str:
        if not math.isfinite(celsius):
            return "–"
        return f"{self.degrees(celsius):.{decimals}f} {self.degree}"

    def difference(self, kelvin: float, decimals: int = 2, sign: str = "") -> str:
        if not math.isfinite(kelvin):
            return "–"
        return f"{self.kelvins(kelvin):{sign}.{decimals}f} {self.kelvin}"

    def plain_difference(self, kelvin: float) -> str:
        """A round difference with no more decimals than it needs."""
        return f"{self.kelvins(kelvin):g} {self.kelvin}"

    def rate(self, k_per_s: float) -> str:
        return f"{3600.0 * self.kelvins(k_per_s):.0f} {self.kelvin}/h"

    def heat_value(self, watts: float) -> float:
        """Heat that goes somewhere, in BTU/h or W."""
        return watts * 3600.0 / _BTU if self.imperial else watts

    @property
    def heat_unit(self) -> str:
        return "BTU/h" if self.imperial else "W"

    def heat_flow(self, watts: float) -> str:
        """Heat that goes somewhere; the power of elements is said in kW everywhere."""
        return f"{self.heat_value(watts):.0f} {self.heat_unit}"

    def energy(self, joules: float) -> str:
        """Stored heat; what the mains gave is said in kWh everywhere."""
        return f"{joules / _BTU:.0f} BTU" if self.imperial else f"{joules / 3.6e6:.2f} kWh"

    @property
    def length_unit(self) -> str:
        return "in" if self.imperial else "mm"

    @property
    def lengths_per_m(self) -> float:
        """Inches, or millimetres, in a metre."""
        return 1.0 / _INCH if self.imperial else 1000.0

    def length(self, metres: float, decimals: int | None = None) -> str:
        if self.imperial:
            return f"{metres / _INCH:.{2 if decimals is None else decimals}f} in"
        return f"{1000.0 * metres:.{1 if decimals is None else decimals}f} mm"

    def thickness(self, metres: float) -> str:
        """The thickness of a layer: whole millimetres, or hundredths of an inch."""
        return self.length(metres, 2 if self.imperial else 0)

    def surface_load(self, w_per_m2: float) -> str:
        return f"{w_per_m2 * _INCH**2:.1f} W/in²" if self.imperial else f"{w_per_m2 / 1e4:.1f} W/cm²"

    def words(self, text: str) -> str:
        """The sentence with its metric quantities in the reader's units; imperial ones stay as they are."""
        return _QUANTITY.sub(self._turned, text) if self.imperial else text

    def _turned(self, match: re.Match) -> str:
        unit, numbers = match["unit"], [*re.findall(_NUMBER, match["before"]), match["last"]]
        joints = [*re.findall(r"\s(?:to|…|–)\s", match["before"]), ""]
        if unit == "mm²":
            return (
                f"{match[0]} (about {nearest_awg(1e-6 * float(numbers[-1]))})" if float(numbers[-1]) > 0.0 else match[0]
            )
        shown = [self._number(n, unit) for n in numbers]
        name = "°F" if unit == "°C" else _TURNED[unit][0]
        return "".join(n + j for n, j in zip(shown, joints, strict=True)) + f" {name}"

    def _number(self, written: str, unit: str) -> str:
        sign = written[0] if written[0] in "-+−±" else ""
        gap = " " if " " in written[1:2] else ""
        value, decimals = float(written.strip("-+−± ")), len(written.partition(".")[2])
        if unit == "°C" and sign not in ("±", "+"):
            value = -value if sign else value
            exact = [c for c in self.known_c if f"{c:.{decimals}f}" == f"{value:.{decimals}f}"]
            shown = f"{fahrenheit(min(exact, key=lambda c: abs(c - value)) if exact else value):.{decimals}f}"
            return shown.rstrip("0").rstrip(".") if decimals > 1 else shown
        factor = _F_PER_K if unit == "°C" else _TURNED[unit][1]
        if unit == "K/h":
            exact = [rate for rate in self.known_k_per_h if f"{rate:.{decimals}f}" == f"{value:.{decimals}f}"]
            value = exact[0] if exact else value
        turned = factor * value
        if factor == _F_PER_K:
            shown = f"{turned:.{decimals}f}"
        else:
            # Three digits, but none beyond a tenth of a thousandth of an inch or foot.
            digits = 2 if abs(turned) < 0.01 else 3
            shown = f"{turned:.{digits}g}" if turned < 1000.0 else f"{turned:.0f}"
        return sign + gap + shown


#: What is shown to a reader who asked for nothing else.
METRIC_UNITS = Units()


def temperatures_in(thing) -> set[float]:
    """Every temperature of some settings, °C: the fields whose names end in `_c` and the trip, in all their parts; a
    plain number counts as a temperature."""
    if isinstance(thing, (int, float)) and not isinstance(thing, bool):
        return {float(thing)} if math.isfinite(thing) else set()
    if isinstance(thing, (tuple, list)):
        return {c for part in thing if dataclasses.is_dataclass(part) for c in temperatures_in(part)}
    if not dataclasses.is_dataclass(thing):
        return set()
    found = set()
    for name in [f.name for f in dataclasses.fields(thing)] + (["trip_at_c"] if hasattr(thing, "trip_at_c") else []):
        value = getattr(thing, name)
        if name.endswith("_c") or not isinstance(value, (int, float)):
            found |= temperatures_in(value)
    return found
