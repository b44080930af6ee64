"""What wiring rules say of cables, breakers, plugs and earth, as tables. All of them from memory of the standards
named: they find mistakes, they do not design an installation. The local code and a licensed electrician decide."""

from bisect import bisect_left
from dataclasses import dataclass

IEC, UK, US, CANADA = "IEC 60364", "BS 7671", "NFPA 70", "CSA C22.1"
#: Rules that count a load of three hours and more as 125 % of itself (NFPA 70 210.20(A), 424 and 425; CSA C22.1 8-104
#: says the same the other way round: 80 % of the breaker), and that limit the breaker of small conductors.
NORTH_AMERICAN = (US, CANADA)
CONTINUOUS = 1.25
_MM2 = 1e-6
FIXED = "fixed connection"
#: Devices that open on leakage: IEC 61008-1 by type, UL 943 class A (5 mA, for people), UL 1053 (30 mA, for equipment).
RESIDUAL = (
    "none",
    "30 mA type AC",
    "30 mA type A",
    "30 mA type F",
    "30 mA type B",
    "100 mA or more",
    "5 mA for people",
    "30 mA for equipment",
)
#: Copper conductors, cross-sections in mm².
AREAS_MM2 = (1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0)
#: Current-carrying capacity, A, of PVC insulated copper at 30 °C, by how it is laid: two and three loaded conductors
#: (IEC 60364-5-52 tables B.52.2, B.52.4 and B.52.10; methods A1, B1, C, E; 1 mm² from BS 7671).
CAPACITY_A = {
    "in insulation": (
        (11.0, 14.5, 19.5, 26.0, 34.0, 46.0, 61.0, 80.0, 99.0, 119.0),
        (10.5, 13.5, 18.0, 24.0, 31.0, 42.0, 56.0, 73.0, 89.0, 108.0),
    ),
    "in conduit": (
        (13.5, 17.5, 24.0, 32.0, 41.0, 57.0, 76.0, 101.0, 125.0, 151.0),
        (12.0, 15.5, 21.0, 28.0, 36.0, 50.0, 68.0, 89.0, 110.0, 134.0),
    ),
    "on a wall": (
        (15.0, 19.5, 27.0, 36.0, 46.0, 63.0, 85.0, 112.0, 138.0, 168.0),
        (13.5, 17.5, 24.0, 32.0, 41.0, 57.0, 76.0, 96.0, 119.0, 144.0),
    ),
    "in free air": (
        (17.0, 22.0, 30.0, 40.0, 51.0, 70.0, 94.0, 119.0, 148.0, 180.0),
        (14.5, 18.5, 25.0, 34.0, 43.0, 60.0, 80.0, 101.0, 126.0, 153.0),
    ),
}
WORST_LAID, BEST_LAID = "in insulation", "in free air"
#: AWG number → (area in mm², A with terminals or insulation for 60 °C, 75 °C, 90 °C) at 30 °C, three conductors at most
#: in a raceway (NFPA 70 table 310.16, copper).
AWG_A = {
    14: (2.08, 15.0, 20.0, 25.0),
    12: (3.31, 20.0, 25.0, 30.0),
    10: (5.26, 30.0, 35.0, 40.0),
    8: (8.37, 40.0, 50.0, 55.0),
    6: (13.3, 55.0, 65.0, 75.0),
    4: (21.2, 70.0, 85.0, 95.0),
    3: (26.7, 85.0, 100.0, 115.0),
    2: (33.6, 95.0, 115.0, 130.0),
    1: (42.4, 110.0, 130.0, 145.0),
}
#: Largest breaker on small copper conductors, A (NFPA 70 240.4(D), CSA C22.1 14-104(2)).
SMALL_CONDUCTOR_A = {14: 15.0, 12: 20.0, 10: 30.0}
#: Breakers that shops sell, A (IEC 60898-1; NFPA 70 240.6(A)).
BREAKERS_A = {
    IEC: (6.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0),
    US: (15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 125.0),
}
#: Factor on the capacity against the surrounding air, °C (IEC 60364-5-52 table B.52.14: PVC 70 °C and XLPE 90 °C;
#: NFPA 70 table 310.15(B)(1)(1): 60, 75 and 90 °C insulation, which has steps that end at these temperatures).
_IEC_PVC = ((30, 1.0), (35, 0.94), (40, 0.87), (45, 0.79), (50, 0.71), (55, 0.61), (60, 0.50))
_IEC_XLPE = (
    (30, 1.0), (35, 0.96), (40, 0.91), (45, 0.87), (50, 0.82), (55, 0.76), (60, 0.71), (65, 0.65), (70, 0.58),
    (75, 0.50), (80, 0.41),
)  # fmt: skip
_US_60 = ((30, 1.0), (35, 0.91), (40, 0.82), (45, 0.71), (50, 0.58), (55, 0.41))
_US_75 = ((30, 1.0), (35, 0.94), (40, 0.88), (45, 0.82), (50, 0.75), (55, 0.67), (60, 0.58), (65, 0.47), (70, 0.33))
_US_90 = (
    (30, 1.0), (35, 0.96), (40, 0.91), (45, 0.87), (50, 0.82), (55, 0.76), (60, 0.71), (65, 0.65), (70, 0.58),
    (75, 0.50), (80, 0.41),
)  # fmt: skip
#: Factor for circuits that run together (IEC 60364-5-52 table B.52.17, bunched), and for current-carrying conductors
#: together (NFPA 70 table 310.15(C)(1)): up to that many.
_IEC_TOGETHER = (
    (1, 1.0), (2, 0.80), (3, 0.70), (4, 0.65), (5, 0.60), (6, 0.57), (7, 0.54), (8, 0.52), (9, 0.50), (12, 0.45),
    (16, 0.41), (20, 0.38),
)  # fmt: skip
_US_TOGETHER = ((3, 1.0), (6, 0.80), (9, 0.70), (20, 0.50), (30, 0.45), (40, 0.40), (60, 0.35))


@dataclass(frozen=True)
class Plug:
    """rated_a: printed rating; hours_a: the current allowed for hours, A; volts: from and to; lines: whether the two
    live pins are two lines; phases; reversible: live and neutral may change places; fused: it has a fuse of its own."""

    rated_a: float
    hours_a: float
    volts: tuple[float, float]
    lines: bool = False
    phases: int = 1
    reversible: bool = False
    fused: bool = False


_US_120, _US_240, _EU_230, _EU_400 = (100.0, 130.0), (200.0, 250.0), (200.0, 250.0), (346.0, 440.0)
#: For hours: 80 % of the North American ones (NFPA 70 210.23 with table 210.21(B)(2)); domestic sockets 10 A (common
#: practice: their contacts are tried for an hour, not for a firing); industrial ones their rating (IEC 60309-1).
PLUGS = {
    "CEE 7/4": Plug(16.0, 10.0, _EU_230, reversible=True),
    "BS 1363": Plug(13.0, 10.0, _EU_230, fused=True),
    "IEC 60309 16 A": Plug(16.0, 16.0, _EU_230),
    "IEC 60309 32 A": Plug(32.0, 32.0, _EU_230),
    "IEC 60309 63 A": Plug(63.0, 63.0, _EU_230),
    "IEC 60309 16 A three-phase": Plug(16.0, 16.0, _EU_400, phases=3),
    "IEC 60309 32 A three-phase": Plug(32.0, 32.0, _EU_400, phases=3),
    "IEC 60309 63 A three-phase": Plug(63.0, 63.0, _EU_400, phases=3),
    "NEMA 5-15": Plug(15.0, 12.0, _US_120),
    "NEMA 5-20": Plug(20.0, 16.0, _US_120),
    "NEMA 6-15": Plug(15.0, 12.0, _US_240, lines=True),
    "NEMA 6-20": Plug(20.0, 16.0, _US_240, lines=True),
    "NEMA 6-30": Plug(30.0, 24.0, _US_240, lines=True),
    "NEMA 6-50": Plug(50.0, 40.0, _US_240, lines=True),
    "NEMA 14-30": Plug(30.0, 24.0, _US_240, lines=True),
    "NEMA 14-50": Plug(50.0, 40.0, _US_240, lines=True),
}


def breakers_a(rules: str) -> tuple[float, ...]:
    """Ratings that shops sell under these rules, A."""
    return BREAKERS_A[US if rules in NORTH_AMERICAN else IEC]


def awg_of(area_m2: float) -> int | None:
    """The gauge of that conductor: the thickest that it holds (to a hundredth); None if thinner than 14 AWG. Raises
    ValueError beyond the table."""
    area = area_m2 / _MM2 * 1.01
    if area_m2 / _MM2 > 1.05 * AWG_A[1][0]:
        raise ValueError(f"area_m2 = {area_m2:g}: the table ends at 1 AWG")
    fitting = [gauge for gauge, row in AWG_A.items() if row[0] <= area]
    return min(fitting) if fitting else None


def surroundings_factor(rules: str, air_c: float, rated_c: float) -> float:
    """Factor on a cable's capacity for that air temperature; 1 at 30 °C and below (colder air gives no bonus); 0 where
    the insulation may not be used. `rated_c`: the insulation's limit, °C."""
    if rules in NORTH_AMERICAN:
        table = _US_90 if rated_c >= 90.0 else _US_75 if rated_c >= 75.0 else _US_60
    else:
        table = _IEC_XLPE if rated_c >= 90.0 else _IEC_PVC
    # The next warmer row: between two rows the worse one counts.
    return next((factor for warm, factor in table if air_c <= warm), 0.0)


def together_factor(rules: str, circuits: int, conductors: int) -> float:
    """Factor on each circuit's capacity when `circuits` circuits, each with this many loaded conductors, run together.
    Raises ValueError beyond the tables."""
    count, table = (circuits * conductors, _US_TOGETHER) if rules in NORTH_AMERICAN else (circuits, _IEC_TOGETHER)
    for most, factor in table:
        if count <= most:
            return factor
    raise ValueError(f"circuits = {circuits}: the tables end before so many")


def capacity_a(rules: str, area_m2: float, laid: str, loaded: int, rated_c: float) -> float:
    """Current that a single copper cable may carry in air of 30 °C, A; between two cross-sections, that of the thinner.
    North American terminals are reckoned for 60 °C (NFPA 70 110.14(C)), so a better insulation helps only in warm
    surroundings. Raises ValueError outside the tables, or where the cable is thinner than any for fixed wiring."""
    if rules in NORTH_AMERICAN:
        gauge = awg_of(area_m2)
        if gauge is None:
            raise ValueError("thinner than 14 AWG, the least for branch circuits")
        return AWG_A[gauge][3 if rated_c >= 90.0 else 2 if rated_c >= 75.0 else 1]
    area = area_m2 / _MM2
    if area < 0.99 * AREAS_MM2[0]:
        raise ValueError(f"thinner than {AREAS_MM2[0]:g} mm², the least for fixed wiring")
    if area > 1.05 * AREAS_MM2[-1]:
        raise ValueError(f"the table ends at {AREAS_MM2[-1]:g} mm²")
    row = CAPACITY_A[laid][loaded >= 3]
    at = max(i for i, size in enumerate(AREAS_MM2) if size <= 1.01 * area)
    return row[at]


def terminals_a(rules: str, area_m2: float) -> float | None:
    """The current that 60 °C terminals allow in a conductor, A; None where the rules have no such limit."""
    gauge = awg_of(area_m2) if rules in NORTH_AMERICAN else None
    return None if gauge is None else AWG_A[gauge][1]


def largest_breaker_a(rules: str, area_m2: float, carries_a: float) -> float:
    """Largest breaker that protects a cable of that capacity, A. IEC 60364-4-43 433.1: In ≤ Iz. NFPA 70 240.4(B):
    the next size above, but for the small conductors of 240.4(D)."""
    if rules not in NORTH_AMERICAN:
        return carries_a
    sizes, gauge = breakers_a(rules), awg_of(area_m2)
    next_size = sizes[min(bisect_left(sizes, carries_a), len(sizes) - 1)]
    return min(next_size, SMALL_CONDUCTOR_A.get(gauge or 14, next_size))


def sizes_m2(rules: str) -> tuple[float, ...]:
    """Cross-sections that shops sell under these rules, m², the thinnest for fixed heating first."""
    if rules in NORTH_AMERICAN:
        return tuple(row[0] * _MM2 for row in AWG_A.values())
    return tuple(a * _MM2 for a in AREAS_MM2 if a >= 1.5)


def size_words(rules: str, area_m2: float) -> str:
    """A cross-section as its country names it."""
    gauge = awg_of(area_m2) if rules in NORTH_AMERICAN else None
    return f"{area_m2 / _MM2:.3g} mm²" if gauge is None else f"{gauge} AWG"


def earth_m2(rules: str, area_m2: float, breaker_a: float) -> float:
    """Least copper protective conductor, m²: IEC 60364-5-54 table 54.2 by the line conductor; NFPA 70 table 250.122 by
    the breaker."""
    if rules in NORTH_AMERICAN:
        gauge = 14 if breaker_a <= 15.0 else 12 if breaker_a <= 20.0 else 10 if breaker_a <= 60.0 else 8
        return min(area_m2, AWG_A[gauge][0] * _MM2) if breaker_a <= 100.0 else AWG_A[6][0] * _MM2
    if area_m2 <= 16.0 * _MM2:
        return area_m2
    return max(16.0 * _MM2, 0.5 * area_m2)
