"""Chance and spelling for generated descriptions: every choice comes from `random()` of the source alone, so that one code serves plain seeds
(`random.Random`) and hypothesis (`st.randoms`), whose small numbers mean the plain choice: left out, metric, first of a list."""

import math

import yaml

_INCH, _FOOT, _POUND, _BTU = 0.0254, 0.3048, 0.45359237, 1055.05585262


class Chance:
    """Draws from a source that has `random()` in 0..1."""

    def __init__(self, source):
        self.source = source

    def yes(self, share: float) -> bool:
        """True in that share of draws; False where the source gives 0."""
        return self.source.random() >= 1.0 - share

    def among(self, low: float, high: float) -> float:
        return low + (high - low) * self.source.random()

    def log(self, low: float, high: float) -> float:
        """Each octave as likely as the next."""
        return low * (high / low) ** self.source.random()

    def one(self, *options):
        return options[min(len(options) - 1, int(len(options) * self.source.random()))]

    def whole(self, low: int, high: int) -> int:
        return self.one(*range(low, high + 1))


def digits(value: float, count: int = 3) -> str:
    """`count` significant digits, never as 1e-05."""
    if value == 0.0:
        return "0"
    places = max(0, count - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class Spelling:
    """Quantities in SI as a person might write them: `kind` is "metric", "imperial" or "mixed"."""

    def __init__(self, chance: Chance, kind: str):
        self.chance, self.kind = chance, kind

    @property
    def imperial(self) -> bool:
        return self.kind == "imperial" or (self.kind == "mixed" and self.chance.yes(0.5))

    def _as(self, value: float, units, count: int = 3) -> str:
        """units: (name, its size in SI) pairs."""
        name, size = self.chance.one(*units)
        return f"{digits(value / size, count)} {name}"

    def length(self, metres: float) -> str:
        if not self.imperial:
            return self._as(metres, (("mm", 1e-3), ("cm", 1e-2), ("m", 1.0)) if metres > 0.02 else (("mm", 1e-3),), 4)
        inches = metres / _INCH
        eighths = round(inches * 8.0)
        if metres > 3.0:
            return f"{digits(metres / _FOOT, 4)} {self.chance.one('ft', 'feet')}"
        if eighths >= 8 and self.chance.yes(0.5):
            whole, rest = divmod(eighths, 8)
            part = f" {rest}/8" if rest else ""
            return f"{whole}{part} in"
        return f"{digits(inches, 4)} {self.chance.one('in', 'inch', chr(34))}"

    def area(self, m2: float) -> str:
        if self.imperial:
            return self._as(m2, (("in²", _INCH**2), ("sq in", _INCH**2), ("in^2", _INCH**2)) if m2 < 0.3 else (("ft²", _FOOT**2), ("sq ft", _FOOT**2)), 4)
        return self._as(m2, (("mm²", 1e-6),) if m2 < 1e-4 else (("cm²", 1e-4), ("m²", 1.0)), 4)

    def mass(self, kg: float) -> str:
        if self.imperial:
            return self._as(kg, (("lb", _POUND), ("oz", _POUND / 16.0)) if kg < 2.0 else (("lb", _POUND), ("lbs", _POUND)), 4)
        return self._as(kg, (("g", 1e-3), ("kg", 1.0)) if kg < 2.0 else (("kg", 1.0),), 4)

    def temperature(self, celsius: float) -> str:
        if self.imperial:
            return f"{round(celsius * 1.8 + 32.0)} {self.chance.one('°F', 'F', 'degF')}"
        return f"{round(celsius)} °C" if not self.chance.yes(0.1) else f"{round(celsius + 273.15)} K"

    def difference(self, kelvin: float) -> str:
        return f"{digits(kelvin * 1.8)} °F" if self.imperial else f"{digits(kelvin)} {self.chance.one('K', '°C')}"

    def time(self, seconds: float) -> str:
        if seconds >= 3600.0:
            return f"{digits(seconds / 3600.0, 2)} {self.chance.one('h', 'hours')}"
        return f"{digits(seconds)} s" if seconds < 120.0 or not self.chance.yes(0.5) else f"{digits(seconds / 60.0)} min"

    def power(self, watts: float) -> str:
        return self._as(watts, (("W", 1.0), ("kW", 1e3)) if watts >= 200.0 else (("W", 1.0),), 4)

    def flow(self, m3_per_s: float) -> str:
        return self._as(m3_per_s, (("cfm", _FOOT**3 / 60.0),) if self.imperial else (("m³/h", 1.0 / 3600.0), ("l/s", 1e-3)))

    def speed(self, m_per_s: float) -> str:
        return self._as(m_per_s, (("ft/min", _FOOT / 60.0), ("ft/s", _FOOT)) if self.imperial else (("m/s", 1.0),))

    def conductivity(self, w_per_mk: float) -> str:
        if self.imperial:
            spelled = self.chance.one("BTU·in/(h·ft²·°F)", "BTU-in/hr-ft2-F", "BTU in/(hr ft^2 F)")
            return f"{digits(w_per_mk / (_BTU * _INCH / (3600.0 * _FOOT**2 / 1.8)))} {spelled}"
        return f"{digits(w_per_mk)} {self.chance.one('W/(m·K)', 'W/mK', 'W/m·K')}"

    def density(self, kg_per_m3: float) -> str:
        return self._as(kg_per_m3, (("lb/ft³", _POUND / _FOOT**3),) if self.imperial else (("kg/m³", 1.0),))

    def heat_capacity(self, j_per_kgk: float) -> str:
        if self.imperial:
            return f"{digits(j_per_kgk / 4186.8)} BTU/(lb·°F)"
        return self._as(j_per_kgk, (("J/(kg·K)", 1.0), ("kJ/(kg·K)", 1e3)))

    def insulance(self, m2k_per_w: float) -> str:
        return f"R-{digits(m2k_per_w / 0.17611)}" if self.imperial else f"{digits(m2k_per_w)} m²·K/W"

    def conductance(self, w_per_k: float) -> str:
        return f"{digits(w_per_k)} W/K"

    def cable(self, m2: float) -> str:
        gauges = {14: 2.08e-6, 12: 3.31e-6, 10: 5.26e-6, 8: 8.37e-6, 6: 13.3e-6, 4: 21.2e-6}
        if self.imperial:
            return f"{next((n for n, a in gauges.items() if a >= 0.95 * m2), 4)} AWG"
        return f"{digits(m2 * 1e6)} mm²"


class _Plain(yaml.SafeDumper):
    """YAML without anchors, which the reader refuses."""

    def ignore_aliases(self, data):
        return True


def as_yaml(tree: dict) -> str:
    return yaml.dump(tree, Dumper=_Plain, allow_unicode=True, sort_keys=False, width=1000)
