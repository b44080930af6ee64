"""Each claim of the README has its page of evidence, and quotes what that page found: tools/evidence."""

import re
from pathlib import Path

import pytest

from tests.tool_modules import tool_module

ROOT = Path(__file__).resolve().parents[1]
PAGES = ROOT / "tools" / "evidence"
README = (ROOT / "README.md").read_text(encoding="utf-8")
with tool_module("evidence/make") as make:
    CLAIMS = make.claims()
    # What could be claimed, and was not shown yet, is no claim of the README.
    CLAIMS = [c for c in CLAIMS if (PAGES / f"{c['name']}.md").exists()]
NAMES = [c["name"] for c in CLAIMS]


def blocks(name: str) -> str:
    """What the commands printed, from the page."""
    text = (PAGES / f"{name}.md").read_text(encoding="utf-8")
    return "\n".join(re.findall(r"^```\n\$ .*\n((?:.*\n)*?)```$", text, re.MULTILINE))


def test_the_readme_has_a_line_for_each_claim_and_no_other():
    quoted = re.findall(r"\]\(tools/evidence/(\w+)\.md\) \|$", README, re.MULTILINE)
    assert sorted(quoted) == sorted(NAMES)
    assert {p.stem for p in PAGES.glob("*.md")} == set(NAMES) and len(NAMES) >= 8


@pytest.mark.parametrize("claim", CLAIMS, ids=NAMES)
def test_the_readme_quotes_what_the_page_found_in_the_output(claim):
    found = make.found_in(claim, blocks(claim["name"]))
    page = (PAGES / f"{claim['name']}.md").read_text(encoding="utf-8")
    assert f"**Found:** {found}.\n" in page
    assert make.row(claim, found) in README.splitlines()


@pytest.mark.parametrize("name", NAMES)
def test_a_page_says_when_where_and_what_it_does_not_show(name):
    page = (PAGES / f"{name}.md").read_text(encoding="utf-8")
    for words in (
        r"Commit \| [0-9a-f]{7,} \|",
        r"Date \| \d{4}-\d\d-\d\d \|",
        r"\d+ cores \(\w+\), Python 3\.\d+\.\d+",
    ):
        assert re.search(words, page), words
    said = page.partition("## What this does not show")[2]
    assert len(said.split()) > 20
    # Nothing of the computer where it was made.
    assert not re.search(r"/(root|home|work|tmp|usr)/", page)


def test_the_first_picture_s_words_are_its_page_s_figures():
    claim = CLAIMS[NAMES.index("rehearsal")]
    values = {
        k: float(re.findall(p, blocks("rehearsal"), re.MULTILINE)[-1].split()[0]) for k, p in claim["figures"].items()
    }
    said = re.search(r"a thermostat swings by some (\d+) K around 200 °C, kilnctl stays within a fraction", README)
    assert said is not None and round(values["swings"]) == int(said[1])
    assert max(values["swing"], values["ours"]) < 1.0


def test_a_figure_that_is_not_in_the_output_is_not_shown():
    claim = {"found": "{a} K", "figures": {"a": r"^over ([\d.]+)"}}
    assert make.found_in(claim, "over 1.0\nover 2.5\n") == "2.5 K", "the last one counts"
    with pytest.raises(make.NotShown, match="figure 'a'"):
        make.found_in(claim, "under 1.0")


def test_a_page_names_no_folder_of_the_computer():
    text = make.private(
        f"{make.ROOT}/runs and /tmp/scratch/x, also /tmp/other-1/y  \n\x1b[1mbold\x1b[0m", "/tmp/scratch"
    )
    assert text == "./runs and DIR/x, also DIR\nbold"
