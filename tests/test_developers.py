"""DEVELOPERS.md is a map: what it names is there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PLACE = r"`\.?/?((?:kilnctl|tests|tools|configs|\.ci)/[\w./*-]*)"


def source(top: str) -> str:
    """All text of a file, or of the files below a folder."""
    place = ROOT / top
    files = [place] if place.is_file() else sorted(p for p in place.rglob("*") if "__pycache__" not in p.parts)
    return "\n".join(p.read_text(encoding="utf-8", errors="replace") for p in files if p.is_file())


def test_every_path_of_the_guide_is_there():
    named = set(re.findall(PLACE, TEXT))
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


def test_every_name_of_the_guide_is_in_the_code():
    """Functions, classes, constants, fields and files of a page."""
    code = "\n".join(source(top) for top in ("kilnctl", "tests", "tools", "pyproject.toml"))
    words = set(re.findall(r"[\w.]+", code))
    words |= {word.rpartition(".")[2] for word in words} | {p.name for p in ROOT.rglob("kilnctl/panel/page/*")}
    words |= {p.name for p in ROOT.iterdir()}
    named = set(re.findall(r"`([A-Za-z_][\w.]*)(?:\([\w=]*\))?`", TEXT))
    assert len(named) > 40 and not named - words, sorted(named - words)


def test_where_something_is_put_its_names_stand_in_the_files_of_that_row():
    rows = TEXT.partition("## Where do I put")[2].partition("\n## ")[0].splitlines()[3:]
    checked = 0
    for row in filter(None, rows):
        text = "\n".join(source(p) for p in re.findall(PLACE, row))
        for name in re.findall(r"`([A-Za-z_]\w*)`", row):
            checked += 1
            assert re.search(rf"\b{name}\b", text), f"{name} is in no file of: {row}"
    assert checked > 10


def test_every_option_of_a_tool_that_the_guide_names_is_one_of_it():
    named = re.findall(r"`(?:\./)?(tools/[\w/]+) ([^`]*)`", TEXT)
    options = [(tool, option) for tool, rest in named for option in re.findall(r"--[\w-]+", rest)]
    assert len(options) > 10
    wrong = [(tool, option) for tool, option in options if not re.search(rf"{option}\b", source(tool))]
    assert not wrong
