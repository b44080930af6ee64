"""A box is more than its faces: edges and corners conduct too.

Conduction shape factors of I. Langmuir, E. Q. Adams and G. S. Meikle, Trans. Am. Electrochem. Soc. 24 (1913) 53, as in
Incropera table 4.1: an edge of length D between two walls at right angles adds 0.54 D, a corner adds 0.15 L (L the wall's
thickness), both times k ΔT, for inside lengths above a fifth of the thickness.
"""

import math

#: Langmuir's rounded edge term, and its exact value for two equal walls at right angles.
EDGE = 0.54
EDGE_EXACT = 1.0 - 2.0 / math.pi * math.log(2.0)  # 0.5587
CORNER = 0.15


def shape_factor_m(width_m: float, depth_m: float, height_m: float, thickness_m: float) -> float:
    """Conduction shape factor S in m of a hollow box with walls of one thickness: heat = S · k · ΔT.

    Raises ValueError where an inside length is not above thickness/5 (the rule's range).
    """
    w, d, h, t = width_m, depth_m, height_m, thickness_m
    if min(w, d, h) <= 0.0 or t <= 0.0:
        raise ValueError("inside lengths and thickness must be above zero")
    if min(w, d, h) < t / 5.0:
        raise ValueError("the edge and corner rule holds for inside lengths above a fifth of the wall's thickness")
    return 2.0 * (w * d + w * h + d * h) / t + 4.0 * (w + d + h) * EDGE + 8.0 * CORNER * t
