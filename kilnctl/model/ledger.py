"""Where the power goes now, by the model: plain floats, for use in the tick."""

from .energy import CHAMBER, EnergyModel


def ledger_w(model: EnergyModel, x, power_w: float, unexplained_w: float, ambient_c: float) -> dict[str, float]:
    """{where: W} of `power_w` into the elements at state x (°C, 8). The entries sum to power_w; heat that is given back
    is negative."""
    (from_elements, _, _), (into_lining, _, _), _, _, _, (to_room, _, _), (into_load, _, _) = model.flows(x, ambient_c)
    leak = model.leaking(x[CHAMBER], ambient_c)[0]
    into_load = into_load if model.contents_j_per_k > 0.0 else 0.0
    parts = {
        "into the elements": power_w - from_elements,
        "into the walls": into_lining - to_room,
        "through the walls": to_room,
        "past the walls": leak,
        "into the load": into_load,
        "unexplained": -unexplained_w,
    }
    parts["into air and sheet"] = power_w - sum(parts.values())
    return parts
