"""The panel in a real browser: watch, start, stop, trip, reconnect, three screens, accessibility."""

import dataclasses
import math
import os
import re
import signal
import socket
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from kilnctl.plants.injection import PlantFault
from kilnctl.rig import VirtualRig

from .browser import MARKS, By, Keys, chosen, complaints, opened, press, sized, started, text, unlocked, until

pytestmark = MARKS
ROOT = Path(__file__).parents[2]
SIZES = ((800, 480), (390, 844), (1440, 900))
#: A demo's cure without a purge; its cooling of four minutes lasts several looks of the page at speed 50.
SHORT_CURE = """schedule: Powder cure
steps:
  - {name: cure, to: 120 °C, hold: 2 min, within: 3 K}
  - {name: cool, to: 80 °C, let cool: yes}
"""
#: Buttons that a finger cannot hit well.
SMALL = """return [...document.querySelectorAll('button')]
  .filter(b => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map(b => b.id || b.textContent)"""
#: The page itself does not scroll, and Stop is whole on the screen.
ONE_SCREEN = """document.querySelector('main').scrollTop = 1e6; window.scrollTo(0, 1e6);
const stop = document.getElementById('stop').getBoundingClientRect(), root = document.documentElement;
document.querySelector('main').scrollTop = 0;
return window.scrollY === 0 && root.scrollHeight <= window.innerHeight && stop.top > 0
  && stop.bottom <= window.innerHeight
  && document.elementFromPoint((stop.left + stop.right) / 2, (stop.top + stop.bottom) / 2).id === 'stop';"""
#: What the accessibility checker finds.
FAULTS = """const done = arguments[0];
axe.run().then(r => done(r.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.target).join()])))"""


def listening(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
        return True
    except OSError:
        return False


@pytest.mark.slow
def test_a_run_is_started_watched_to_its_end_and_its_report_read(chrome, bed, tmp_path):
    bed.rest()
    opened(chrome, bed)
    assert "At rest" in text(chrome, "state") and "Curing cabinet" in chrome.title
    unlocked(chrome, bed)
    started(chrome, bed, "Warm up", looked=True)
    until(lambda: "Heating up" in text(chrome, "state"))
    until(lambda: "arrives at 80 °C" in text(chrome, "times") and "all done" in text(chrome, "times"))
    # What is measured stands before what is estimated, in one row.
    sized(chrome, 1440, 900)
    until(lambda: re.search(r"part\s[\d.]+ °C\s+estimated [\d.]+ ± \d+ K", text(chrome, "times")))
    until(lambda: "stored in the walls" in text(chrome, "flow"))
    # The curve is read with the keys, and zoomed.
    canvas = chrome.find_element(By.ID, "curve")
    canvas.send_keys(Keys.ARROW_LEFT, Keys.ARROW_LEFT, "+")
    until(lambda: "chamber" in text(chrome, "readout") or "planned" in text(chrome, "readout"))
    press(chrome, "zoom-all")
    press(chrome, "unit")
    until(lambda: "°F" in text(chrome, "chamber") and "176.0 °F" in text(chrome, "times") and "°F" in chrome.title)
    press(chrome, "unit")
    bed.wait_for(lambda s: not s["running"], 90.0)
    until(lambda: "At rest" in text(chrome, "state"))
    assert bed.status()["outcome"] == "finished"
    assert "HOT" in text(chrome, "hot")
    chrome.find_element(By.CSS_SELECTOR, "[data-page=past]").click()
    until(lambda: re.search("Warm up.*· finished ·.*kWh · up to (79|80|81) °C", text(chrome, "run-list"), re.DOTALL))
    chosen(chrome, "run-list", "Warm up")
    frame = until(lambda: chrome.find_element(By.ID, "run-report"))
    until(lambda: frame.get_attribute("src"))
    chrome.switch_to.frame(frame)
    until(lambda: chrome.find_elements(By.TAG_NAME, "svg"), 30.0)
    chrome.switch_to.default_content()
    assert complaints(chrome) == []


@pytest.mark.slow
def test_a_demo_in_one_command_is_watched_to_its_end(chrome, tmp_path):
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    (tmp_path / "powder-cure.yaml").write_text(SHORT_CURE)
    demo = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "kilnctl",
            "panel",
            "--demo",
            "--speed",
            "50",
            "--port",
            str(port),
            "--schedules",
            str(tmp_path),
        ],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        cwd=tmp_path,
    )
    try:
        assert demo.stdout is not None
        assert "nothing is heated" in demo.stdout.readline() and str(port) in demo.stdout.readline()
        until(lambda: listening(port), 20.0)
        chrome.get(f"http://127.0.0.1:{port}/")
        until(lambda: "Powder cure" in text(chrome, "state"))
        for width, height in SIZES:
            sized(chrome, width, height)
            until(lambda: chrome.find_element(By.ID, "demo").is_displayed())
            assert "Demo, nothing is heated" in text(chrome, "demo")
        until(lambda: "Cooling" in text(chrome, "state"), 60.0)
        until(lambda: "At rest" in text(chrome, "state"), 60.0)
        chrome.find_element(By.CSS_SELECTOR, "[data-page=past]").click()
        until(lambda: "· finished ·" in text(chrome, "run-list"))
        assert complaints(chrome) == []
        children = Path(f"/proc/{demo.pid}/task/{demo.pid}/children").read_text().split()
        assert children
    finally:
        demo.send_signal(signal.SIGTERM)
        demo.wait(30.0)
        if demo.stdout is not None:
            demo.stdout.close()
    # What was started for it ends with it.
    until(lambda: not any(Path(f"/proc/{child}").exists() for child in children), 20.0)


@pytest.mark.slow
def test_a_schedule_that_this_oven_may_not_run_shows_why_and_no_curve(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    press(chrome, "schedule-new")
    until(lambda: chrome.find_element(By.ID, "plan-curve").is_displayed())
    press(chrome, "edit-text")
    place = chrome.find_element(By.ID, "schedule-text")
    place.clear()
    place.send_keys("schedule: Too hot\nsteps:\n- {name: up, to: 900 °C, hold: 5 min}\n")
    press(chrome, "schedule-check")
    until(lambda: "not to be run on this oven" in text(chrome, "schedule-plan"))
    assert not chrome.find_element(By.ID, "plan-curve").is_displayed()
    assert (
        not chrome.find_element(By.ID, "schedule-start").is_enabled()
        and not chrome.find_element(By.ID, "schedule-save").is_enabled()
    )
    assert complaints(chrome) == []


def test_stop_is_one_touch_and_asks_nobody(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    unlocked(chrome, bed)
    started(chrome, bed, "Long")
    bed.wait_for(lambda s: s["duty"] > 0.0)
    press(chrome, "pin-state")  # lock again: stop must not care
    until(lambda: text(chrome, "pin-state") == "PIN")
    for page in ("now", "schedules", "past", "oven"):
        chrome.find_element(By.CSS_SELECTOR, f"[data-page={page}]").click()
        assert chrome.find_element(By.ID, "stop").is_displayed()
    # Far view leaves the footer where it is.
    chrome.find_element(By.CSS_SELECTOR, "[data-page=now]").click()
    chrome.execute_async_script("import('/page/main.js').then((m) => { m.far.come(); arguments[0](); })")
    until(lambda: "°C" in text(chrome, "far-figure"))
    for width, height in SIZES:
        sized(chrome, width, height)
        assert chrome.execute_script(ONE_SCREEN)
    press(chrome, "far")  # a touch brings the near view
    assert not chrome.find_element(By.ID, "far").is_displayed() and chrome.find_element(By.ID, "state").is_displayed()
    # A dialog disables the page behind it, so it has a Stop of its own.
    press(chrome, "pin-state")
    press(chrome, "ask-stop")
    assert not bed.wait_for(lambda s: not s["running"], 10.0)["contactor"]
    until(lambda: not chrome.find_element(By.ID, "ask").is_displayed())
    unlocked(chrome, bed)
    started(chrome, bed, "Long")
    bed.wait_for(lambda s: s["running"])
    press(chrome, "stop")
    assert not bed.wait_for(lambda s: not s["running"], 10.0)["contactor"]
    assert complaints(chrome) == []


@pytest.mark.slow
def test_hold_and_go_on_ask_for_the_pin_when_it_is_locked(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    unlocked(chrome, bed)
    started(chrome, bed, "Long")
    press(chrome, "pin-state")
    until(lambda: text(chrome, "pin-state") == "PIN")
    press(chrome, "hold")
    until(lambda: chrome.find_element(By.ID, "pin").is_displayed())
    chrome.find_element(By.ID, "pin").send_keys(bed.pin + Keys.ENTER)
    bed.wait_for(lambda s: s["held"])
    press(chrome, "proceed")
    bed.wait_for(lambda s: not s["held"])
    press(chrome, "stop")
    assert not bed.wait_for(lambda s: not s["running"])["contactor"]


@pytest.mark.slow
def test_the_page_comes_back_after_the_panel_was_started_again(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    unlocked(chrome, bed)
    started(chrome, bed, "Long")
    bed.wait_for(lambda s: s["run_s"] > 30.0)
    bed.stop_panel()
    assert bed.status()["running"]  # the oven runs on
    until(lambda: "does not answer" in text(chrome, "loud"), 20.0)
    bed.start_panel()
    until(lambda: text(chrome, "loud") == "", 30.0)
    rows = "const c = document.getElementById('curve-words').textContent; return c;"
    assert "Chamber" in chrome.execute_script(rows)
    press(chrome, "stop")
    bed.wait_for(lambda s: not s["running"])


@pytest.mark.slow
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_three_screens_without_overflow_or_serious_accessibility_faults(chrome, bed, width, height, tmp_path):
    bed.rest()
    sized(chrome, width, height)
    axe = axe_source() if has_axe() else pytest.skip("axe-core is not installed")
    for light in ("light", "dark") if width > 1000 else ("light",):
        for page in ("now", "schedules", "past", "oven") if light == "light" else ("now", "schedules"):
            opened(chrome, bed, f"#{page}")
            chrome.execute_script("localStorage.setItem('light', arguments[0])", light)
            chrome.refresh()
            until(lambda page=page: chrome.find_element(By.ID, page).is_displayed())
            if page == "schedules":
                chosen(chrome, "schedule-list", "Warm up")
                until(lambda: "kWh" in text(chrome, "schedule-plan"))
            if page == "oven":
                until(lambda: "it would settle" in text(chrome, "size-words"))
            assert chrome.execute_script("return document.documentElement.scrollWidth <= window.innerWidth"), page
            # Only the middle scrolls: Stop stays where it is.
            assert chrome.execute_script(ONE_SCREEN), page
            small = chrome.execute_script(SMALL)
            assert small == [], "too small for a finger"
            assert (tmp_path / "shot.png").write_bytes(chrome.get_screenshot_as_png()) > 5000
            chrome.execute_script(axe)
            found = chrome.execute_async_script(FAULTS)
            assert [v for v in found if v[0] in ("serious", "critical")] == [], (page, light)
    assert complaints(chrome) == []


def has_axe() -> bool:
    try:
        return files("axe_core_python").joinpath("axe.min.js").is_file()
    except ModuleNotFoundError:
        return False


def axe_source() -> str:
    return files("axe_core_python").joinpath("axe.min.js").read_text()


class Breakable(VirtualRig):
    """The wire of the control sensor is broken, and mended, in the moment that the test wants."""

    broken = False

    def read(self):
        reading = super().read()
        return dataclasses.replace(reading, chamber_c=math.nan, faults=("open",)) if self.broken else reading


def test_a_trip_cannot_be_overlooked_and_is_acknowledged_by_name(chrome, another_bed, tmp_path):
    with another_bed(tmp_path / "tripping", Breakable) as bed:
        assert bed.start("long.yaml", bed.unlocked())[0] == 200
        opened(chrome, bed)
        unlocked(chrome, bed)
        bed.wait_for(lambda s: s["duty"] > 0.0)
        press(chrome, "soak")  # a dialog stands open when it happens: it goes
        assert chrome.find_element(By.ID, "ask").is_displayed()
        bed.service.rig.broken = True
        bed.wait_for(lambda s: s["trips"], 60.0)
        until(lambda: not chrome.find_element(By.ID, "ask").is_displayed())
        until(lambda: "Trip: sensor open" in text(chrome, "loud"))
        loud = text(chrome, "loud")
        assert loud.index("Leave it shut.") < loud.index("thermocouple is open") < loud.index("Then check")
        # The plan no longer holds.
        assert "should be" not in text(chrome, "times") and "all done" not in text(chrome, "times")
        assert "should be" not in chrome.find_element(By.ID, "curve-words").get_attribute("textContent")
        for page in ("schedules", "now"):
            chrome.find_element(By.CSS_SELECTOR, f"[data-page={page}]").click()
            assert chrome.find_element(By.ID, "loud").is_displayed()
        bed.wait_for(lambda s: not s["running"], 60.0)
        # The wire is mended: then, with a name, it is acknowledged.
        bed.service.rig.broken = False
        bed.wait_for(lambda s: s["chamber_c"] is not None, 60.0)
        press(chrome, "acknowledge")
        chrome.find_element(By.ID, "who").send_keys("A person")
        press(chrome, "ask-yes")
        bed.wait_for(lambda s: not s["trips"], 30.0)
        until(lambda: text(chrome, "loud") == "")
        assert complaints(chrome) == []


#: Below an alarm little is left of a small screen: the page scrolls as one, with the curve at its usual height.
NOTHING_SCROLLS_IN_THE_PAGE = """const side = document.querySelector('.side'), curve = document.getElementById('curve');
const free = getComputedStyle(side);
return (free.display === 'contents' || free.overflowY === 'visible') && curve.clientHeight >= 240
  && curve.clientHeight < 500;"""


def test_heat_that_cannot_be_cut_is_nowhere_said_to_be_cut(chrome, another_bed, tmp_path):
    with another_bed(tmp_path / "welded", VirtualRig) as bed:
        assert bed.start("long.yaml", bed.unlocked())[0] == 200
        opened(chrome, bed)
        bed.wait_for(lambda s: s["duty"] > 0.0)
        for kind in ("contactor welded", "relay shorted"):
            bed.service.rig.plant.inject(PlantFault(kind, bed.service.rig.plant.time_s))
        bed.ask("POST", "/api/stop")
        bed.wait_for(lambda s: s["danger"], 60.0)
        until(lambda: "MAIN SWITCH NOW" in text(chrome, "loud") and "contactor welded" in text(chrome, "loud"))
        # First the contactor is known to be welded, and some ticks later the relay to conduct.
        until(lambda: text(chrome, "state").startswith("Heat cannot be cut"))
        for shown in (text(chrome, "loud"), text(chrome, "state")):
            assert "is cut" not in shown and "was cut" not in shown
        assert text(chrome, "loud").count("MAIN SWITCH NOW") == 1  # the order once, before all that it answers
        for width, height in ((800, 480), (390, 844), (1440, 900)):
            sized(chrome, width, height)
            until(lambda: chrome.execute_script(NOTHING_SCROLLS_IN_THE_PAGE) and chrome.execute_script(ONE_SCREEN))
