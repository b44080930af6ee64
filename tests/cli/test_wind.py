"""`kilnctl wind` as a maker meets it: from power, from ohms, from a wire in hand; metric and American."""

import json
import re
from pathlib import Path

import pytest

OVENS = Path(__file__).parents[2] / "configs" / "ovens"
ASKED = ("wind", "--power", "3 kW", "--voltage", "230 V", "--chamber", "1100 °C")


def test_from_power_to_wire(here):
    done = here(*ASKED, "--groups", "2")
    assert done.returncode == 0
    assert "2 coils, each for itself, on 230 V, for a chamber of 1100 °C" in done.stdout
    assert re.search(r"wire +1\.0 mm, 18\.37 m in each coil; 36\.7 m and 0\.206 kg in all", done.stdout)
    assert "33.91 ohm of one coil" in done.stdout and "* 1.0 mm" in done.stdout and "18 AWG (1.02 mm)" in done.stdout
    assert "FINE          surface load" in done.stdout and "°F" not in done.stdout


def test_american_figures_come_back_in_american_units(here):
    said = here(
        *("wind", "--power", "1.5 kW", "--voltage", "120 V", "--chamber", "1900 °F"),
        *("--coil", "3/8 in", "--grooves", "5 ft"),
    ).stdout
    assert "15 AWG (0.0571 in)" in said and "34.5 ft" in said and "ohm/ft" in said and "W/in²" in said
    assert "0.374 in outside" in said and "to 60 in" in said
    assert not re.search(r"°C|\d mm outside|\d m\b|\d kg", said)
    metric = here(
        *("wind", "--power", "1.5 kW", "--voltage", "120 V", "--chamber", "1900 °F", "--units", "metric")
    ).stdout
    assert "°F" not in metric and "1038 °C" in metric


def test_series_connection_alloy_and_load(here):
    said = here(
        *("wind", "--power", "9 kW", "--voltage", "400 V", "--connection", "star", "--groups", "6", "--series", "2"),
        *("--alloy", "NiCr", "--chamber", "700 °C", "--load", "1.5 W/cm²", "--json"),
    ).stdout
    found = json.loads(said)
    assert found["task"]["alloy"] == "nickel-chromium" and found["task"]["series"] == 2
    assert found["wound"]["load_w_m2"] <= 15000.0 and found["wound"]["power_w"] == pytest.approx(9000.0)
    # Three branches of two coils on 231 V: 17.8 ohm a branch.
    assert 2.0 * found["wound"]["hot_ohm"] == pytest.approx((400.0 / 3.0**0.5) ** 2 / 3000.0, rel=1e-6)
    assert {f["about"] for f in found["findings"]} == {"surface load", "wire's temperature", "coil", "stretch"}


def test_the_other_way_round(here):
    hand = json.loads(
        here(
            *("wind", "--voltage", "230 V", "--chamber", "1000 °C", "--wire", "1.2 mm", "--length", "12 m", "--json")
        ).stdout
    )
    # ρ·L/A = 1.45e-6·12/1.131e-6 = 15.39 ohm cold.
    assert hand["wound"]["cold_ohm"] == pytest.approx(15.386, abs=0.005) and hand["gauge"] == "1.2 mm"
    ohms = json.loads(
        here("wind", "--voltage", "230 V", "--chamber", "1000 °C", "--ohms", "15.386 ohm", "--json").stdout
    )
    assert ohms["wound"]["cold_ohm"] == pytest.approx(15.386) and ohms["wound"]["power_w"] == pytest.approx(
        hand["wound"]["power_w"], rel=0.01
    )
    both = json.loads(
        here(
            *(
                "wind",
                "--voltage",
                "230 V",
                "--chamber",
                "1000 °C",
                "--ohms",
                "15.386 ohm",
                "--wire",
                "1.2 mm",
                "--json",
            )
        ).stdout
    )
    assert both["wound"]["wire_m"] == pytest.approx(12.0, rel=1e-4)
    length = here("wind", "--voltage", "240 V", "--power", "2 kW", "--length", "20 m", "--chamber", "900 °C").stdout
    assert "for 2.00 kW the wire would be 1.155 mm; the nearest gauge is taken" in length
    assert "makes               2.16 kW" in length and "not 2.00 kW" in length
    awg = here(*ASKED, "--wire", "16 AWG").stdout
    assert "16 AWG (0.0508 in)" in awg


def test_from_an_ovens_file(here):
    muffle = here("wind", OVENS / "bench-muffle.yaml").stdout
    assert "TIGHT         surface load" in muffle and "0.0400 in, 22 ft" in muffle and "°C" not in muffle
    kiln = here("wind", OVENS / "brick-kiln.yaml").stdout
    assert "2 coils in series on 230 V" in kiln
    done = here("wind", OVENS / "curing-cabinet.yaml")
    assert done.returncode == 2 and "not wound" in done.stderr
    nickel = here("wind", OVENS / "curing-cabinet.yaml", "--alloy", "nickel-chromium").stdout
    assert "3.00 kW from nickel-chromium wire, 3 coils" in nickel
    more = here("wind", OVENS / "brick-kiln.yaml", "--power", "4 kW").stdout
    assert "4.00 kW from" in more


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("wind",), "without an oven's file say --voltage and --chamber"),
        (("wind", "--voltage", "230 V", "--chamber", "900 °C"), "say --power, or --ohms, or the wire in hand"),
        ((*ASKED, "--ohms", "12 ohm"), "--ohms says the power already"),
        ((*ASKED, "--alloy", "SiC"), "bought as rods"),
        ((*ASKED, "--alloy", "tin"), "sold as wire are"),
        ((*ASKED, "--groups", "0"), "--groups: from 1 to 60"),
        ((*ASKED, "--wire", "12 mm"), "0.2 mm to 8 mm"),
        ((*ASKED, "--wire", "1.2"), "--wire: "),
        ((*ASKED, "--coil", "1 mm"), "cannot be wound"),
        ((*ASKED, "--grooves", "90 m"), "do not make a coil"),
        ((*ASKED, "--length", "0 m"), "--length: 0 m must be above zero"),
        (("wind", "--power", "3 kW", "--voltage", "230 V", "--chamber", "-300 °C"), "--chamber"),
        (("wind", "--power", "90 kW", "--voltage", "230 V", "--chamber", "900 °C"), "0.02 kW to 20 kW"),
        (("wind", "--voltage", "230 V", "--chamber", "900 °C", "--wire", "3 mm", "--length", "1 m"), "kW are reckoned"),
        (("wind", "--power", "1 kW", "--voltage", "230 V", "--chamber", "900 °C", "--load", "200 W/cm²"), "0.2 mm to"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(here, arguments, told):
    done = here(*arguments)
    assert done.returncode == 2 and told in done.stderr, done.stderr + done.stdout


#: A stranger's car-bottom kiln: six coils in delta, so hot that only thick wire bears it; on 400 V that is long.
DELTA = ("--power", "12 kW", "--voltage", "400 V", "--connection", "delta", "--groups", "6", "--chamber", "1280 °C")


def test_a_thousand_metres_of_idle_wire_are_not_proposed_without_a_word(here):
    told = here("wind", *DELTA).stdout
    # P = U²/R over half the voltage is a quarter of the resistance (Ohm): 303 m of a thicker gauge instead of 1000 m.
    assert "1000.0 m" in told and "much wire" in told and "with --series 2 it is 2.2 mm, 302.5 m in all" in told
    again = here("wind", *DELTA, "--series", "2").stdout
    assert "302.5 m" in again and "much wire" in again and "with --series" not in again
    assert "much wire" not in here(*ASKED).stdout


def test_the_wire_that_a_file_names_is_wound_although_its_length_is_open(here, tmp_path):
    text = (OVENS / "brick-kiln.yaml").read_text(encoding="utf-8")
    file = tmp_path / "kiln.yaml"
    file.write_text(text.replace("  wire length: 23.5 m\n", ""), encoding="utf-8")
    assert "wire                1.6 mm, " in here("wind", str(file)).stdout


def test_wire_in_hand_that_is_far_off_is_shown_beside_the_wire_that_is_sound(here):
    short = ("--power", "800 W", "--voltage", "48 V", "--chamber", "1150 °C", "--wire", "1.2 mm", "--length", "9 m")
    rows = [line for line in here("wind", *short).stdout.splitlines() if " ohm " in line and " W/cm² " in line]
    assert any(line.startswith("* 1.2 mm") for line in rows) and any("2.0 mm" in r and " fine " in r for r in rows)
