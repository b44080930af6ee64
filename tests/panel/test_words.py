"""The words of the page stand in one table for each language: none is missing, and none is unused."""

import json
import re
from importlib.resources import files

import pytest

from kilnctl.safety.danger import CUT_AFTER_ALL
from kilnctl.safety.proof import BLIND, NOT_YET
from kilnctl.safety.state import DANGER, WELDED

from ..safety.test_advice import TOLD
from .told import compiled, left_in_english, pairs

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
    # Outcomes and links of the chain come from the service as one word, and are translated.
    from_the_service = {"finished", "tripped", "stopped", "interrupted", "lost"}
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


#: What stays in a sentence as it is: figures with their units.
FIGURE = r"[-±]?[\d.,]+( ?(°C|K|K/s|s|h|kWh|W|V|%))?"


@pytest.mark.parametrize("language", OTHERS)
def test_another_language_knows_every_sentence_of_an_alarm(language):
    """What to do, what was seen, what to check: of every trip, with every variant of its text."""
    table = compiled(language)
    sentences = {text.replace("`", "") for _, *parts in TOLD for text in parts if text}
    sentences |= {DANGER, WELDED, CUT_AFTER_ALL, BLIND, NOT_YET}
    unknown = {(x, text) for text in sentences for x in left_in_english(text, table) if not re.fullmatch(FIGURE, x)}
    assert unknown == set()
    assert left_in_english("a sentence that nobody has translated", table)


@pytest.mark.parametrize("language", OTHERS)
def test_a_sentence_of_the_oven_keeps_its_values_and_stands_once(language):
    english = [a.lower() for a, _ in pairs(language)]
    assert len(english) == len(set(english)), [a for a in english if english.count(a) > 1]
    for a, b in pairs(language):
        kept = set(re.findall(r"\{\w\}", b))
        assert kept <= set(re.findall(r"\{\w\}", a)), a


def test_every_block_of_the_style_sheet_is_closed():
    """One that was not kept all that stands below it for small screens: no chain, far view or table of steps beside
    them."""
    style = re.sub(r"/\*.*?\*/", "", PAGE.joinpath("style.css").read_text(encoding="utf-8"), flags=re.DOTALL)
    depths = [0]
    for sign in re.findall("[{}]", style):
        depths.append(depths[-1] + (1 if sign == "{" else -1))
    assert min(depths) == 0 and depths[-1] == 0
    # A block of a rule stands in one of @media at most.
    assert max(depths) == 2
