"""Stop in a real browser whose connections are all taken, whose panel hangs, whose network is gone; and the dialogs
that stand between a person and the oven."""

import os
import signal
import time

import pytest
from selenium.common.exceptions import ElementClickInterceptedException, ElementNotInteractableException

from .browser import MARKS, By, chosen, complaints, opened, press, started, text, unlocked, until
from .conftest import LONG, WARM

pytestmark = MARKS
#: The largest letters on the page, and those of the warning.
SIZES_OF_LETTERS = """const size = (e) => parseFloat(getComputedStyle(e).fontSize);
const others = [...document.querySelectorAll('body *')].filter(e => e.offsetParent && e.id !== 'stopping-head');
return [Math.max(...others.map(size)), size(document.getElementById('stopping-head'))]"""


def running(chrome, bed):
    bed.rest()
    assert bed.start("long.yaml", bed.unlocked())[0] == 200
    opened(chrome, bed)
    bed.wait_for(lambda s: s["duty"] > 0.0)


def said_off(chrome):
    until(lambda: "The heat is off" in text(chrome, "stopping-head"), 20.0)


def test_stop_stops_with_more_tabs_open_than_a_browser_has_connections(chrome, bed):
    running(chrome, bed)
    first, more = chrome.current_window_handle, []
    try:
        for _ in range(9):
            chrome.switch_to.new_window("tab")
            more.append(chrome.current_window_handle)
            opened(chrome, bed)
        press(chrome, "stop")
        said_off(chrome)
        assert bed.status()["at_rest"]
    finally:
        for tab in more:
            chrome.switch_to.window(tab)
            chrome.close()
        chrome.switch_to.window(first)
    assert complaints(chrome) == []


@pytest.mark.slow
def test_stop_waits_for_no_preview(chrome, bed):
    for k in range(5):
        (bed.place / "schedules" / f"slow-{k}.yaml").write_text(
            LONG.replace("Long", f"Slow {k}").replace("2 h", f"{9 + k} h")
        )
    running(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    for k in range(5):
        chosen(chrome, "schedule-list", f"Slow {k}")
    press(chrome, "stop")
    said_off(chrome)
    assert bed.status()["at_rest"]
    # Earlier previews are given up: the last one is answered without waiting for the others.
    until(lambda: "from where the oven is now" in text(chrome, "schedule-plan"))
    for k in range(5):
        (bed.place / "schedules" / f"slow-{k}.yaml").unlink()


def test_a_stop_that_nobody_answers_is_said_in_the_largest_words_until_it_is_answered(chrome, bed):
    running(chrome, bed)
    os.kill(bed.panel.pid, signal.SIGSTOP)
    try:
        press(chrome, "stop")
        until(lambda: "NOT CONFIRMED: press the emergency stop" in text(chrome, "stopping-head"), 20.0)
        others, letters = chrome.execute_script(SIZES_OF_LETTERS)
        assert letters > others
    finally:
        os.kill(bed.panel.pid, signal.SIGCONT)
    # It has continued to ask.
    said_off(chrome)
    bed.wait_for(lambda s: s["at_rest"])


def test_a_stop_without_a_network_is_not_confirmed_and_comes_when_the_network_does(chrome, bed):
    running(chrome, bed)
    chrome.execute_cdp_cmd("Network.enable", {})
    gone = dict(offline=True, latency=0, downloadThroughput=-1, uploadThroughput=-1)
    chrome.execute_cdp_cmd("Network.emulateNetworkConditions", gone)
    try:
        press(chrome, "stop")
        until(lambda: "NOT CONFIRMED" in text(chrome, "stopping-head"), 20.0)
        assert bed.status()["running"]
    finally:
        chrome.execute_cdp_cmd("Network.emulateNetworkConditions", {**gone, "offline": False})
    said_off(chrome)
    assert bed.status()["at_rest"]


@pytest.mark.slow
def test_a_dialog_asks_for_the_pin_that_it_needs(chrome, bed):
    """What it covers cannot be pressed: the PIN is asked for in it, and what was typed stays."""
    running(chrome, bed)
    press(chrome, "soak")
    minutes = until(lambda: chrome.find_element(By.ID, "minutes"))
    minutes.clear()
    minutes.send_keys("17")
    press(chrome, "ask-yes")
    until(lambda: chrome.find_element(By.ID, "pin").is_displayed())
    assert chrome.find_element(By.ID, "minutes").get_attribute("value") == "17"
    chrome.find_element(By.ID, "pin").send_keys("000000" if bed.pin != "000000" else "111111")
    press(chrome, "ask-yes")
    until(lambda: "wrong PIN" in text(chrome, "ask-said"))
    chrome.find_element(By.ID, "pin").send_keys(bed.pin)
    press(chrome, "ask-yes")
    until(lambda: not chrome.find_element(By.ID, "ask").is_displayed())
    until(lambda: text(chrome, "pin-state") == "Unlocked")
    bed.rest()


@pytest.mark.slow
def test_a_schedule_that_was_changed_while_its_dialog_stood_open_does_not_start(chrome, bed):
    bed.rest()
    file = bed.place / "schedules" / "seen.yaml"
    file.write_text(WARM.replace("Warm up", "Seen"))
    opened(chrome, bed)
    unlocked(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    chosen(chrome, "schedule-list", "Seen")
    until(lambda: "kWh" in text(chrome, "schedule-plan"))
    press(chrome, "schedule-start")
    file.write_text(WARM.replace("Warm up", "Seen").replace("80 °C", "150 °C"))
    press(chrome, "ask-yes")
    until(lambda: "150 °C" in text(chrome, "ask-body") and "changed since it was shown" in text(chrome, "ask-body"))
    assert not bed.status()["running"]
    press(chrome, "ask-no")
    file.unlink()


@pytest.mark.slow
def test_a_plan_that_ends_in_a_trip_is_told_and_wants_its_own_word(chrome, bed):
    bed.rest()
    file = bed.place / "schedules" / "too-short.yaml"
    file.write_text("schedule: Too short\nlongest: 10 min\nsteps:\n  - {name: warm, to: 80 °C, hold: 30 min}\n")
    opened(chrome, bed)
    unlocked(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    chosen(chrome, "schedule-list", "Too short")
    until(lambda: "WOULD NOT END WELL" in text(chrome, "schedule-plan"))
    press(chrome, "schedule-start")
    until(lambda: "expected not to end well: tripped" in text(chrome, "ask-body"))
    press(chrome, "ask-yes")
    until(lambda: "although it is expected to end in a trip" in text(chrome, "ask-body"))
    press(chrome, "ask-yes")
    until(lambda: "Tick the box" in text(chrome, "ask-said"))
    time.sleep(1.0)
    assert not bed.status()["running"]
    press(chrome, "ask-no")
    file.unlink()


def pressed(chrome, name: str) -> None:
    """Renewed or covered for a moment."""

    def done() -> bool:
        try:
            chrome.find_element(By.ID, name).click()
        except (ElementClickInterceptedException, ElementNotInteractableException):
            return False
        return True

    until(done)


@pytest.mark.slow
def test_nothing_is_lost_on_the_shelf(chrome, bed):
    bed.rest()
    folder = bed.place / "schedules"
    opened(chrome, bed)
    unlocked(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    before = set(folder.glob("*.yaml"))
    for count in (1, 2):  # two new ones in a row
        pressed(chrome, "schedule-new")
        until(lambda: chrome.find_element(By.ID, "schedule-save").is_enabled())
        pressed(chrome, "schedule-save")
        until(lambda count=count: len(set(folder.glob("*.yaml")) - before) == count)
        # Saved, it is opened again under its name.
        until(lambda: "a-new-one" in (chrome.find_element(By.ID, "schedule-file").get_attribute("value") or ""))
    made = set(folder.glob("*.yaml")) - before
    assert len(made) == 2
    # Under a name that is taken: asked first.
    pressed(chrome, "schedule-new")
    name = chrome.find_element(By.ID, "schedule-file")
    name.clear()
    name.send_keys("long.yaml")
    until(lambda: chrome.find_element(By.ID, "schedule-save").is_enabled())
    pressed(chrome, "schedule-save")
    until(lambda: "there is a long.yaml already" in text(chrome, "ask-body"))
    press(chrome, "ask-no")
    assert (folder / "long.yaml").read_text() == LONG
    # Deleted, and brought back.
    chosen(chrome, "schedule-list", "Warm up")
    until(lambda: text(chrome, "schedule-name") == "Warm up")
    pressed(chrome, "schedule-delete")
    press(chrome, "ask-yes")
    until(lambda: not (folder / "warm.yaml").exists())
    pressed(chrome, "undo")
    until(lambda: (folder / "warm.yaml").exists())
    assert (folder / "warm.yaml").read_text() == WARM
    for path in made:
        path.unlink()
    assert complaints(chrome) == []


@pytest.mark.slow
def test_a_start_in_a_browser_is_what_its_page_has_shown(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    unlocked(chrome, bed)
    started(chrome, bed, "Warm up", looked=True)
    assert bed.wait_for(lambda s: s["running"])["schedule"] == "Warm up"
    press(chrome, "stop")
    said_off(chrome)
    assert bed.status()["at_rest"]
