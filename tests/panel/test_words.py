"""The words of the page stand in one table for each language: none is missing, and none is unused."""

import json
import re
from importlib.resources import files

import pytest

PAGE = files("kilnctl.panel").joinpath("page")
SOURCES = {
    f.name: f.read_text(encoding="utf-8")
    for f in PAGE.iterdir()
    # What shows the look with made-up values is for its makers; the shared worker says nothing.
    if f.name.endswith((".js", ".html")) and not f.name.startswith(("words_", "told_", "parts", "shared"))
}
LANGUAGES = SOURCES["words.js"].split("LANGUAGES = {")[1].split("}")[0]
OTHERS = [name for name in re.findall(r"(\w+):", LANGUAGES) if name != "en"]
LITERAL = r'"((?:[^"\\]|\\.)*)"'


def words(language: str) -> dict[str, str]:
    text = PAGE.joinpath(f"words_{language}.js").read_text(encoding="utf-8")
    return json.loads("{" + text.split("WORDS = {")[1].rstrip().removesuffix("};").rstrip().removesuffix(",") + "}")


EN = words("en")


def asked_for() -> set[str]:
    """What the page asks for by a literal key."""
    found = set(re.findall(r'data-(?:w|label)="([^"]*)"', SOURCES["index.html"]))
    for text in SOURCES.values():
        found |= {json.loads(f'"{k}"') for k in re.findall(r"\bw\(" + LITERAL, text)}
    return found


def test_english_is_complete_and_is_its_own_key():
    assert asked_for() - EN.keys() == set()
    assert all(key == value for key, value in EN.items())


def test_no_word_is_kept_that_nothing_says():
    said = {json.loads(f'"{k}"') for text in SOURCES.values() for k in re.findall(LITERAL, text)} | asked_for()
    # Outcomes and links of the chain come from the service as one word, and are translated; so do requests.
    from_the_service = {"finished", "tripped", "stopped", "interrupted", "lost", "proceed", "skip", "stop"}
    chain = {"mains", "limiter", "contactor", "relay", "door", "airflow", "sensors", "board", "permit"}
    states = {"proved", "part", "run"}
    assert EN.keys() - said - from_the_service - chain - states == set()


@pytest.mark.parametrize("language", OTHERS)
def test_another_language_lacks_nothing_and_keeps_every_value(language):
    other = words(language)
    assert other.keys() == EN.keys()
    for key, value in other.items():
        assert value.strip(), key
        assert sorted(re.findall(r"\{\w+\}", key)) == sorted(re.findall(r"\{\w+\}", value)), key
    same = [key for key, value in other.items() if value == key]
    assert len(same) < 0.05 * len(other), same


def test_every_word_of_the_first_page_stands_in_a_table():
    """index.html says nothing but by a key; names of units and signs are the same everywhere."""
    body = SOURCES["index.html"].split("<body", 1)[1]
    for tag, text in re.findall(r"<([a-z]\w*[^<>]*)>([^<>]*[A-Za-z]{2}[^<>]*)<", body):
        assert (
            f'data-w="{text.strip()}"' in tag
            or text.strip() == "PIN"
            or 'id="schedule-start"' in tag
            or ('id="allow"' in tag)
        ), text
    for tag in re.findall(r"<[^<>]*aria-label=[^<>]*>", body):
        if "data-label" not in tag:
            # Set each time that the page is filled.
            assert re.search(r'id="(unit|plan-curve)"', tag), tag
