"""The table of the oven's sentences in another language, and how `words.js` uses it, for tests without a browser."""

import json
import re
from importlib.resources import files

PAIR = re.compile(r'\["((?:[^"\\]|\\.)*)", "((?:[^"\\]|\\.)*)"\]')


def pairs(language: str) -> list[tuple[str, str]]:
    text = files("kilnctl.panel").joinpath("page", f"told_{language}.js").read_text(encoding="utf-8")
    return [(json.loads(f'"{a}"'), json.loads(f'"{b}"')) for a, b in PAIR.findall(text)]


def left_in_english(words: str, table: list[tuple[re.Pattern, str]]) -> list[str]:
    """The parts of a sentence for which the table has nothing: what `told` of words.js leaves as it is."""

    def whole(sentence: str) -> list[str] | None:
        for form, _ in table:
            found = form.match(sentence)
            if found:
                return [x for part in found.groups() if re.search("[A-Za-z]{2}", part) for x in left(part)]
        return None

    def left(sentence: str) -> list[str]:
        found = whole(sentence)
        if found is None:
            found = whole(sentence.removesuffix("."))
        if found is None and re.search("; |[.] ", sentence):
            return [x for part in re.split(r"; |(?<=[.]) ", sentence) for x in left(part)]
        return [sentence] if found is None else found

    return left(words)


def compiled(language: str) -> list[tuple[re.Pattern, str]]:
    def form(english: str) -> re.Pattern:
        return re.compile("^" + re.sub(r"\\\{\w\\\}", "(.+?)", re.escape(english)) + "$", re.IGNORECASE)

    return [(form(a), b) for a, b in pairs(language)]
