"""DEVELOPERS.md is a map: what it names is there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_path_of_the_guide_is_there():
    named = set(re.findall(r"`\.?/?((?:kilnctl|tests|tools|configs|\.ci)/[\w./*-]*)", TEXT))
    assert len(named) > 40, "the guide names its places by their paths"
    missing = sorted(p for p in named if not (ROOT / p.rstrip("/")).exists())
    assert not missing, f"DEVELOPERS.md names what is not there: {missing}"


def test_every_room_stands_in_the_guide():
    rooms = {p.name for p in (ROOT / "kilnctl").iterdir() if (p / "__init__.py").is_file()}
    told = set(re.findall(r"`kilnctl/(\w+)/`", TEXT))
    assert rooms <= told, f"not in DEVELOPERS.md: {sorted(rooms - told)}"


def test_the_guides_rooms_are_in_the_order_of_the_import_contract():
    contract = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    layers = re.search(r'id = "rooms".*?layers = \[(.*?)\]', contract, re.S)
    assert layers is not None
    level = {room: -k for k, line in enumerate(layers[1].splitlines()) for room in re.findall(r"\((\w+)\)", line)}
    rows = [row for row in TEXT.splitlines() if row.startswith("| `kilnctl/")]
    rooms = [room for row in rows for room in re.findall(r"`kilnctl/(\w+)/`", row) if room in level]
    assert len(rooms) > 15
    levels = [level[room] for room in rooms]
    assert levels == sorted(levels), f"a room stands above one that it may import: {rooms}"
