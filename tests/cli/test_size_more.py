"""`kilnctl size`: what to buy, two ovens side by side, the page; metric and American."""

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from kilnctl.output import Units
from kilnctl.report.sizing_pictures import wall_picture
from kilnctl.sizing import comparison, size

OVENS = Path(__file__).parents[2] / "configs" / "ovens"
MUFFLE, CABINET = OVENS / "bench-muffle.yaml", OVENS / "curing-cabinet.yaml"


@pytest.fixture(autouse=True)
def few(monkeypatch):
    """Two offers show the same as twelve, in less time."""
    monkeypatch.setattr(comparison, "MOST_OFFERS", 2)


@pytest.mark.slow
def test_buying_tells_run_prices_and_order(here):
    said = here("size", MUFFLE, "--buy", "--kwh", "0.32", "--hold", "30 min", "--price", "20/m²").stdout
    assert "heat-up with small steel blanks to 1832 °F at full power, and 30 min there" in said
    assert re.search(r"as it is\n", said) and "paid after" in said and "BTU/h" in said and "°C" not in said
    assert re.search(r"kWh = \d\.\d\d", said) and "Prices are per area, 1 in thick" in said
    found = json.loads(here("size", MUFFLE, "--price", "ceramic fiber board 300: 2/ft²", "--json").stdout)["buying"]
    assert len(found["changes"]) == 2 and found["changes"][0]["cost"] > 0.0
    assert found["now"]["run_j"] > 1e6 and found["run"]["hold_s"] == 3600.0


@pytest.mark.slow
def test_two_ovens_stand_side_by_side_at_a_temperature_that_both_reach(here):
    said = here("size", CABINET, "--compare", MUFFLE).stdout
    assert re.search(r"Curing cabinet +Bench muffle", said) and "heat-up to 260 °C" in said and "°F" not in said
    assert re.search(r"power +3\.00 kW +1\.20 kW", said) and "through edges and corners" in said
    assert "surface load" in said, "what is tight is named"
    american = here("size", CABINET, "--compare", MUFFLE, "--units", "imperial").stdout
    assert "heat-up to 500 °F" in american and "ft³" in american and "°C" not in american
    rows = json.loads(here("size", CABINET, "--compare", MUFFLE, "--json").stdout)
    assert rows["other"]["oven"] == "Bench muffle" and rows["side_by_side"][0] == ["power", "3.00 kW", "1.20 kW"]


@pytest.mark.slow
def test_the_page_has_pictures_tables_and_verdicts(here, tmp_path):
    page = tmp_path / "new" / "page.html"
    done = here("size", MUFFLE, "--page", page, "--buy", "--compare", CABINET)
    assert done.returncode == 0 and f"page: {page}" in done.stdout
    text = page.read_text(encoding="utf-8")
    for part in (
        "Through the walls at 1832 °F",
        "Beside Curing cabinet",
        "What to change",
        "Supply, by NFPA 70",
        "TIGHT",
    ):
        assert part in text
    # Four faces and the power curve, each for a desk and for a phone.
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(pictures) == 10 and "<script" not in text and "°C" not in text
    for picture in pictures:
        ElementTree.fromstring(picture)


def test_a_walls_picture_has_each_layer_its_temperature_and_its_limit(oven):
    sizing = size(oven("brick-kiln"))
    (floor,) = (w for w in sizing.walls if w.face.name == "floor")
    picture = wall_picture(sizing, floor, Units(), 960)
    root = ElementTree.fromstring(picture)
    ns = "{http://www.w3.org/2000/svg}"
    grounds = [r for r in root.iter(f"{ns}rect") if r.get("stroke") == "#fff"]
    assert len(grounds) == len(floor.layers) == 4
    names = [t.text for t in root.iter(f"{ns}text")]
    assert "1 insulating firebrick 26" in names and "3" in names and {"temperature", "limit"} <= set(names)
    # The limit is a level piece for each layer: four moves of the pen.
    dashed = [p for p in root.iter(f"{ns}path") if p.get("stroke-dasharray")]
    assert len(dashed) == 1 and dashed[0].get("d", "").count("M") == 4


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--kwh", "0"), "--kwh: a price above zero"),
        (("--price", "20"), "is no price of an area"),
        (("--price", "wool: x/m²"), "is no price of an area"),
        (("--price", "20/kg"), "is no price of an area"),
        (("--hold", "70 h"), "--hold: from 0 min to 48 h"),
        (("--hold", "3"), "--hold: "),
        (("--compare", "nowhere.yaml"), "there is no such file"),
        (("--page", "/dev/null/page.html"), "cannot be written"),
    ],
)
def test_what_cannot_be_is_refused(here, arguments, told):
    done = here("size", MUFFLE, *arguments)
    assert done.returncode == 2 and told in done.stderr
