"""A person who has never seen the page, with the demo before them: start its cure, say when it ends, why there is no
heat while the door is open, and how much the door costs. Everything is found by the words on the screen."""

import contextlib
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from loopback import free_port

from .browser import MARKS, By, sized, until

pytestmark = [*MARKS, pytest.mark.slow]
ROOT = Path(__file__).parents[2]
#: Without a purge; its soak lasts over the moment at which the demo's door opens (36 min after its oven began).
CURE = """schedule: Powder cure
about: steel parts of two millimetres
steps:
  - {name: cure, to: 150 °C, hold: 60 min, within: 3 K}
  - {name: cool, to: 100 °C, let cool: yes}
"""


#: The texts that nothing covers.
SEEN = """const out = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement, range = document.createRange();
  range.selectNodeContents(walk.currentNode);
  const r = range.getBoundingClientRect();
  if (!r.width || !walk.currentNode.data.trim()) continue;
  const top = document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2);
  if (top && (top.contains(e) || e.contains(top)) || getComputedStyle(e).pointerEvents === 'none')
    out.push(walk.currentNode.data.trim());
}
return out.join('\\n');"""


@pytest.fixture
def demo(tmp_path):
    """The port of a demo at 40 times real time."""
    (tmp_path / "powder-cure.yaml").write_text(CURE)
    (tmp_path / "anneal.yaml").write_text("schedule: Anneal\nsteps:\n  - {to: 800 °C, hold: 5 min}\n")
    port = free_port()
    words = ["panel", "--demo", "--speed", "40", "--port", str(port), "--stop-port", str(free_port())]
    process = subprocess.Popen(
        [sys.executable, "-m", "kilnctl", *words, "--schedules", str(tmp_path)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        cwd=tmp_path,
    )
    assert process.stdout is not None
    try:
        for _ in range(2):
            process.stdout.readline()
        yield port
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30.0)
        process.stdout.close()


def listens(port: int) -> bool:
    """Whether the demo's page answers already."""
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 1.0):
        return True
    return False


class Person:
    def __init__(self, chrome):
        self.chrome = chrome

    def reads(self) -> str:
        """What stands on the screen without a scroll, a line for each text."""
        return self.chrome.execute_script(SEEN)

    def presses(self, words: str) -> None:
        def done() -> bool:
            for one in self.chrome.find_elements(By.CSS_SELECTOR, "a, button"):
                if one.is_displayed() and one.is_enabled() and one.text.strip().split("\n")[0] == words:
                    one.click()
                    return True
            return False

        until(done, 60.0)

    def sees(self, pattern: str, patience_s: float = 60.0) -> re.Match:
        return until(lambda: re.search(pattern, self.reads()), patience_s)


@pytest.mark.parametrize("size", [(800, 480), (390, 844)])
def test_a_newcomer_starts_the_cure_and_can_say_what_it_does(chrome, demo, size):
    sized(chrome, *size)
    person = Person(chrome)
    until(lambda: listens(demo))
    chrome.get(f"http://127.0.0.1:{demo}/")
    # One already runs, to look at; it is stopped, so that it can be started.
    person.sees(r"Demo, nothing is heated")
    person.presses("Stop the heat")
    person.sees("The heat is off")
    person.presses("Schedules")
    # What this oven cannot do stands last.
    listed = person.sees(r"Powder cure[\s\S]*?hotter than this oven may get")
    assert listed
    person.presses("Powder cure")
    person.sees(r"\d+:\d\d h\n?takes|takes\n\d+:\d\d h")
    person.presses("Start it …")
    pin = person.sees(r"its PIN is (\d{6})").group(1)
    for digit in pin:
        person.presses(digit)
    person.presses("Start")
    # When does it end? How hot is it, what is it doing?
    person.sees(r"all done\n(\d+:\d\d h|\d+ min)")
    person.sees(r"Heating up|Soaking|Testing relay")
    person.sees(r"Heat on, [\d.]+ k?W")
    # Why is there no heat?
    person.sees("Door open", 90.0)
    shown = person.reads()
    assert "Heat off" in shown and re.search(r"door open, \d", shown), shown
    person.sees(r"No heat: the door is open\.")
    # What does it cost?
    person.sees(r"door costs\n[\s\S]*?0\.\d\d kWh")
    assert re.search(r"done, if shut now\n(\d+:\d\d h|\d+ min)", person.reads())
    person.sees(r"door has cost\n[\s\S]*?0\.\d\d kWh")
