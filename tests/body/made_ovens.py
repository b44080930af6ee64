"""Descriptions drawn at random but plausible: what a maker might build, from a box of one skin to a well-lined kiln."""

import random
from pathlib import Path

from kilnctl import load_oven

#: Insulation by the highest temperature of its hot face that it is used to, °C.
_COOL = ("mineral wool 100", "glass wool", "ceramic fibre blanket 96", "calcium silicate board")
_HOT = ("insulating firebrick 23", "ceramic fibre blanket 128", "ceramic fibre board 300", "insulating firebrick 26")


def _wall(r: random.Random, top: float) -> str:
    layers = []
    if top < 500:
        if r.random() < 0.5:
            layers.append(("steel", r.choice((1, 1.5))))
        layers.append((r.choice(_COOL if top < 230 else _HOT[1:3]), round(r.uniform(15, 120))))
    else:
        layers.append(
            (
                r.choice(("insulating firebrick 26", "ceramic fibre board 300") if top > 1150 else _HOT),
                round(r.uniform(40, 130)),
            )
        )
        if r.random() < 0.6:
            layers.append(("ceramic fibre blanket 96", round(r.uniform(20, 75))))
    if r.random() < 0.8 or layers[-1][0] != "insulating firebrick 23":
        layers.append((r.choice(("steel", "stainless steel")), r.choice((0.8, 1, 1.5))))
    return "[" + ", ".join(f"{{material: {m}, thickness: {t} mm}}" for m, t in layers) + "]"


def text_of(seed: int) -> str:
    """One oven file; the same for the same seed."""
    r = random.Random(seed)
    top = r.choice((80, 120, 180, 220, 260, 320, 450, 600, 750, 900, 1050, 1100, 1200))
    size = 10 ** r.uniform(-0.9, 0.0) if top > 500 else 10 ** r.uniform(-0.7, 0.2)
    w, d, h = (round(1000 * size * r.uniform(0.7, 1.4)) for _ in range(3))
    fan = top <= 500 and r.random() < 0.6
    alloy = (
        "sheathed"
        if top < 400
        else r.choice(("iron-chromium-aluminium", "nickel-chromium"))
        if top < 950
        else "iron-chromium-aluminium"
    )
    area = 2e-6 * (w * d + w * h + d * h)
    power = min(20000, max(100, area * (1.5 + 10 * r.random()) * (top + 60)))
    out = [
        f"oven: made {seed}",
        f"chamber: {{width: {w} mm, depth: {d} mm, height: {h} mm, opening: {r.choice(('front', 'top'))}}}",
        "walls:",
        f"  sides: {_wall(r, top)}",
    ]
    if r.random() < 0.4:
        out.append(
            f"  door: {_wall(r, top)}"
            if r.random() < 0.7 or top > 300
            else "  door: [{material: steel, thickness: 1.5 mm}]"
        )
    if fan:
        out.append(f"fan: {{air speed: {r.uniform(0.3, 6):.1f} m/s, power: {r.choice((0, 20, 40, 80))} W}}")
    if r.random() < 0.35:
        out.append(f"vent: {{flow: {10 ** r.uniform(-0.5, 1.5) * min(1.0, area):.2f} m³/h}}")
    if r.random() < 0.4:
        out.append(
            f"bridges: [{{name: frame, conductance: {10 ** r.uniform(-2, 0) * area:.3f} W/K, "
            f"count: {r.choice((1, 1, 4))}}},"
            " {name: terminals, material: stainless steel, area: 30 mm², length: 120 mm, count: 4}]"
        )
    out.append(f"door: {{gap: {r.choice((0, 0.2, 0.5, 1))} mm}}")
    if r.random() < 0.25:
        out.append(f"ports: [{{diameter: {r.choice((10, 20, 30))} mm, closed: {r.choice(('yes', 'no'))}}}]")
    out.append(f"elements: {{power: {power:.0f} W, alloy: {alloy}, groups: {r.choice((1, 1, 2, 3))}}}")
    if r.random() < 0.4:
        out.append(
            f"shelf: {{mass: {20 * area:.2f} kg, material: {'steel' if top < 500 else 'cordierite'}, "
            f"area: {0.3 * area:.4f} m²}}"
        )
    out += [
        "supply: {voltage: 230 V, frequency: 50 Hz}",
        f"limits: {{highest: {top} °C}}",
        f"site: {{ambient: {r.choice((5, 20, 20, 30))} °C}}",
    ]
    return "\n".join(out) + "\n"


def made(seed: int, folder: Path):
    """The oven of a seed, read from a file in that folder as any other."""
    path = folder / f"made-{seed}.yaml"
    path.write_text(text_of(seed), encoding="utf-8")
    return load_oven(path)
