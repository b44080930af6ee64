"""SAFETY.md: one word for one switch, nothing is bridged, dead parts are proved dead; a readable first page."""

import re
from pathlib import Path

from tests.safety.test_advice import grade

TEXT = (Path(__file__).parents[2] / "SAFETY.md").read_text(encoding="utf-8")
PROSE = TEXT[: TEXT.index("<!-- fault table -->")]
FIRST = TEXT[: TEXT.index("## What only hardware")]


def words(text: str) -> str:
    """Without emphasis and line breaks."""
    return " ".join(text.replace("*", "").split())


def test_the_first_page_is_short_and_plain():
    page = words(FIRST)
    assert len(page.split()) < 350 and grade(page) < 9.0
    sentences = [s for s in re.split(r"[.?!:;]\s", page) if s]
    assert max(len(s.split()) for s in sentences) < 30
    in_order = (
        "Leave it shut",
        "Switch off at the main switch",
        "call the fire brigade first",
        "prove dead",
        "Never bridge",
    )
    places = [page.lower().index(part.lower()) for part in in_order]
    assert places == sorted(places)


def test_one_word_for_one_switch():
    for word in ("isolator locked", "lockable isolator", "plug out", "pull the plug", "power off", "unplugged oven"):
        assert word not in TEXT.lower(), word
    assert "switch-disconnector (AC-22A or better" in TEXT and "prove dead" in TEXT
    assert "two-pole tester" in TEXT and "tried on a live part before and after" in words(TEXT)


def test_nothing_is_bridged_and_linings_are_dried_behind_a_shut_door():
    drying = words(TEXT)[words(TEXT).index("First heating:") :]
    assert drying.index("The door stays shut") < drying.index("a vent or port is open") < drying.index("1 MΩ")
    assert "ajar" not in TEXT and "binder" in drying
    assert "Never bridge it, never raise it to 300 mA" in words(TEXT) and "Never bridge the door switch" in words(FIRST)


def test_the_limiter_is_bought_and_its_sensor_tested():
    for part in ("EN 14597", "pull its plug, it must open and latch", "Shorted wires no limiter of this kind can see",
                 "alarm relay is none", "Put the setting back and seal it"):  # fmt: skip
        assert part in words(PROSE), part


def test_the_limiter_is_proved_before_any_heat():
    before = words(TEXT[TEXT.index("## Before first power") :])
    assert before.index("limiter, before any heat") < before.index("a short heat raises")
    assert before.index("Each sensor against a known temperature") < before.index("a short heat raises")
    assert "elements disconnected and each loose end insulated" in before
    assert before.index("connect the elements, close the covers") < before.index(
        "Then power on: contactor open and relay on"
    )
    assert "nothing live at the elements with the contactor open" in before
    assert "take the electronics off first" in before and "take the bridge off" in before


def test_what_stands_in_the_coil_circuit_and_what_does_not():
    diagram = TEXT.split("```")[1]
    for part in ("main switch, lockable, 2 poles", "residual-current device, type A", "24 V, one side earthed",
                 "holding relay", "pulse timer", "not behind the main switch"):  # fmt: skip
        assert part in diagram, part
    for part in (
        "freewheel diode",
        "RC snubber",
        "varistor",
        "mirror contact",
        "reinforced",
        "nickel",
        "GFCI opens at 5 mA",
    ):
        assert part in PROSE, part


def test_hazards_say_what_a_maker_can_do():
    for part in ("carbon monoxide alarm", "earth every metal sheath", "may cause cancer by inhalation", "heat detector",
                 "never with flammable vapour", "phosgene", "never with compressed air", "above that, tongs",
                 "It watches the airflow for schedules so marked only", 'Do not "air it out"', "EN 1539"):  # fmt: skip
        assert part in words(PROSE), part
