"""The panel in a real browser: watch, start, stop, trip, reconnect, three screens, accessibility, and a foreign page that gets nothing."""

import contextlib
import dataclasses
import http.server
import math
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from importlib.resources import files
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

from selenium.common.exceptions import (
    ElementClickInterceptedException,
    ElementNotInteractableException,
    NoSuchElementException,
    StaleElementReferenceException,
)
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from kilnctl.plants.injection import PlantFault
from kilnctl.rig import VirtualRig

ROOT = Path(__file__).parents[2]
DRIVER = shutil.which("chromedriver")
pytestmark = [
    pytest.mark.timeout(240),
    pytest.mark.skipif(
        not (DRIVER and (shutil.which("chromium") or shutil.which("google-chrome"))),
        reason="chromium or its driver is not installed",
    ),
]
SIZES = ((800, 480), (390, 844), (1440, 900))
#: A demo's cure without a purge; its cooling of four minutes lasts several looks of the page at speed 50.
SHORT_CURE = "schedule: Powder cure\nsteps:\n  - {name: cure, to: 120 °C, hold: 2 min, within: 3 K}\n  - {name: cool, to: 80 °C, let cool: yes}\n"


def browser():
    options = Options()
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
        "--disable-extensions",
        "--disable-component-extensions-with-background-pages",
        "--host-resolver-rules=MAP evil.test 127.0.0.1, MAP oven.test 127.0.0.1",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=Service(DRIVER))


@pytest.fixture(scope="module")
def one_chrome():
    made = browser()
    made.set_script_timeout(60)
    try:
        yield made
    finally:
        made.quit()


@pytest.fixture
def chrome(one_chrome):
    """A browser that remembers nothing of the test before."""
    one_chrome.get("about:blank")
    one_chrome.execute_cdp_cmd("Network.clearBrowserCookies", {})
    one_chrome.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": "*", "storageTypes": "all"})
    one_chrome.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    one_chrome.get_log("browser")
    return one_chrome


def sized(chrome, width: int, height: int) -> None:
    chrome.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", dict(width=width, height=height, deviceScaleFactor=1, mobile=width < 500)
    )


def until(condition, patience_s: float = 120.0):
    end = time.monotonic() + patience_s
    while True:
        try:
            found = condition()
        except (NoSuchElementException, StaleElementReferenceException):
            found = None  # not yet there, or just replaced
        if found:
            return found
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.2)


def chosen(chrome, listed: str, words: str) -> None:
    """Press the choice with those words; lists renew themselves while one looks."""

    def pressed() -> bool:
        choice = [b for b in chrome.find_elements(By.CSS_SELECTOR, f"#{listed} button") if words in b.text]
        if choice:
            choice[0].click()
        return bool(choice)

    until(pressed)


def text(chrome, name: str) -> str:
    return chrome.find_element(By.ID, name).text


def press(chrome, name: str) -> None:
    until(lambda: chrome.find_element(By.ID, name).is_displayed() and chrome.find_element(By.ID, name).is_enabled())
    chrome.find_element(By.ID, name).click()


def opened(chrome, bed, page: str = "") -> None:
    chrome.get(f"http://127.0.0.1:{bed.port}/{page}")
    until(lambda: text(chrome, "state"), 20.0) if not page else until(
        lambda: chrome.find_element(By.ID, "oven-name").get_attribute("textContent")
    )


def unlocked(chrome, bed) -> None:
    press(chrome, "pin-state")
    for digit in bed.pin:
        chrome.find_element(By.XPATH, f"//div[@class='keys']/button[text()='{digit}']").click()
    press(chrome, "ask-yes")
    until(lambda: text(chrome, "pin-state") == "Unlocked")


def started(chrome, bed, name: str, looked: bool = False) -> None:
    """As a person does: choose it, perhaps look at what is expected (nobody has to wait for that), start it."""
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    chosen(chrome, "schedule-list", name)
    if looked:
        until(lambda: "kWh" in text(chrome, "schedule-plan"))
    # The page shuts its question when the service is silent for a moment (nothing may stand before that warning), and limits unlike the last
    # run's want a second word: one asks again then, as a person would.
    end = time.monotonic() + 120.0
    while not chrome.current_url.endswith("#now"):
        assert time.monotonic() < end, (
            text(chrome, "ask-said"),
            text(chrome, "loud"),
            text(chrome, "said"),
            text(chrome, "schedule-start"),
        )
        question = chrome.find_element(By.ID, "ask").get_attribute("open") is not None
        pressed = chrome.find_element(By.ID, "ask-yes" if question else "schedule-start")
        if pressed.is_displayed() and pressed.is_enabled():
            with contextlib.suppress(
                ElementNotInteractableException, ElementClickInterceptedException
            ):  # shut at this moment
                pressed.click()
        time.sleep(0.3)


def complaints(chrome) -> list:
    """What the console says, but for refused answers that the test itself asked for."""
    return [
        e
        for e in chrome.get_log("browser")
        if e["level"] in ("SEVERE", "WARNING") and "Failed to load resource" not in e["message"]
    ]


def test_a_run_is_started_watched_to_its_end_and_its_report_read(chrome, bed, tmp_path):
    bed.rest()
    opened(chrome, bed)
    assert "At rest" in text(chrome, "state") and "Curing cabinet" in chrome.title
    unlocked(chrome, bed)
    started(chrome, bed, "Warm up", looked=True)
    until(lambda: "Heating up" in text(chrome, "state"))
    until(lambda: "arrives at 80 °C" in text(chrome, "times") and "all done" in text(chrome, "times"))
    until(lambda: "into the walls" in text(chrome, "ledger"))
    # The curve is read with the keys, and zoomed.
    canvas = chrome.find_element(By.ID, "curve")
    canvas.send_keys(Keys.ARROW_LEFT, Keys.ARROW_LEFT, "+")
    until(lambda: "chamber" in text(chrome, "readout") or "planned" in text(chrome, "readout"))
    press(chrome, "zoom-all")
    press(chrome, "unit")
    until(lambda: "°F" in text(chrome, "chamber") and "176.0 °F" in text(chrome, "times"))
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
        assert "nothing is heated" in demo.stdout.readline() and str(port) in demo.stdout.readline()
        until(lambda: _open(port), 20.0)
        chrome.get(f"http://127.0.0.1:{port}/")
        until(lambda: "Powder cure" in text(chrome, "state"))
        assert "demo, nothing is heated" in chrome.find_element(By.ID, "oven-name").get_attribute("textContent")
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
        demo.stdout.close()
    # What was started for it ends with it.
    until(lambda: not any(Path(f"/proc/{child}").exists() for child in children), 20.0)


def _open(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
        return True
    except OSError:
        return False


def test_a_schedule_that_this_oven_may_not_run_shows_why_and_no_curve(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    press(chrome, "schedule-new")
    until(lambda: chrome.find_element(By.ID, "plan-curve").is_displayed())
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
    # A dialog makes what is behind it dead, so it has a stop of its own.
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
    bed.wait_for(lambda s: not s["running"])


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


@pytest.mark.parametrize("width, height", SIZES)
def test_three_screens_without_overflow_or_serious_accessibility_faults(chrome, bed, width, height, tmp_path):
    bed.rest()
    sized(chrome, width, height)
    axe = (
        files("axe_core_python").joinpath("axe.min.js").read_text()
        if _has_axe()
        else pytest.skip("axe-core is not installed")
    )
    for light in ("light", "dark") if width > 1000 else ("light",):
        for page in ("now", "schedules", "past", "oven") if light == "light" else ("now", "schedules"):
            opened(chrome, bed, f"#{page}")
            chrome.execute_script("localStorage.setItem('light', arguments[0])", light)
            chrome.refresh()
            until(lambda: chrome.find_element(By.ID, page).is_displayed())
            if page == "schedules":
                chosen(chrome, "schedule-list", "Warm up")
                until(lambda: "kWh" in text(chrome, "schedule-plan"))
            if page == "oven":
                until(lambda: "would hold" in text(chrome, "size-words"))
            assert chrome.execute_script("return document.documentElement.scrollWidth <= window.innerWidth"), page
            small = chrome.execute_script(
                "return [...document.querySelectorAll('button')].filter(b => b.offsetParent && (b.offsetHeight < 44 || b.offsetWidth < 44)).map(b => b.id || b.textContent)"
            )
            assert small == [], "too small for a finger"
            assert (tmp_path / "shot.png").write_bytes(chrome.get_screenshot_as_png()) > 5000
            chrome.execute_script(axe)
            found = chrome.execute_async_script(
                "const done = arguments[0]; axe.run().then(r => done(r.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.target).join()])))"
            )
            assert [v for v in found if v[0] in ("serious", "critical")] == [], (page, light)
    assert complaints(chrome) == []


def _has_axe() -> bool:
    try:
        return files("axe_core_python").joinpath("axe.min.js").is_file()
    except ModuleNotFoundError:
        return False


class Breakable(VirtualRig):
    """The wire of the control sensor is broken, and mended, in the moment that the test wants."""

    broken = False

    def read(self):
        reading = super().read()
        return dataclasses.replace(reading, chamber_c=math.nan, faults=("open",)) if self.broken else reading


def test_a_trip_cannot_be_overlooked_and_is_acknowledged_by_name(chrome, another_bed, tmp_path):
    with another_bed(tmp_path / "tripping", Breakable) as bed:
        assert bed.ask("POST", "/api/start", {"file": "long.yaml", "confirm": True}, cookie=bed.unlocked())[0] == 200
        opened(chrome, bed)
        unlocked(chrome, bed)
        bed.wait_for(lambda s: s["duty"] > 0.0)
        press(chrome, "soak")  # a dialog stands open when it happens: it goes
        assert chrome.find_element(By.ID, "ask").is_displayed()
        bed.service.rig.broken = True
        bed.wait_for(lambda s: s["trips"], 60.0)
        until(lambda: not chrome.find_element(By.ID, "ask").is_displayed())
        until(lambda: "The heat is cut: sensor open" in text(chrome, "loud"))
        assert "Check" in text(chrome, "loud")
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


def test_heat_that_cannot_be_cut_is_nowhere_said_to_be_cut(chrome, another_bed, tmp_path):
    with another_bed(tmp_path / "welded", VirtualRig) as bed:
        assert bed.ask("POST", "/api/start", {"file": "long.yaml", "confirm": True}, cookie=bed.unlocked())[0] == 200
        opened(chrome, bed)
        bed.wait_for(lambda s: s["duty"] > 0.0)
        for kind in ("contactor welded", "relay shorted"):
            bed.service.rig.plant.inject(PlantFault(kind, bed.service.rig.plant.time_s))
        bed.ask("POST", "/api/stop")
        bed.wait_for(lambda s: s["danger"], 60.0)
        until(lambda: "PULL THE PLUG" in text(chrome, "loud") and "contactor welded" in text(chrome, "loud"))
        assert text(chrome, "state").startswith("Heat cannot be cut")
        for shown in (text(chrome, "loud"), text(chrome, "state")):
            assert "is cut" not in shown and "was cut" not in shown


# ---- a foreign page ----------------------------------------------------------------------------------------------------

EVIL = """<!doctype html><title>evil</title><body><script>
const there = "http://127.0.0.1:PORT", again = "http://evil.test:PORT", tried = [];
const read = async (name, what) => { try { const got = await what(); tried.push([name, got]); } catch (e) { tried.push([name, "refused"]); } };
(async () => {
  for (const base of [there, again]) {
    await read("look", async () => { const r = await fetch(base + "/api/runs"); return (await r.text()).includes('"ok":true') ? "READ" : "refused"; });
    await read("look without reading", async () => { await fetch(base + "/api/schedules", { mode: "no-cors" }); return "sent"; });
    for (const path of ["/api/start", "/api/stop", "/api/unlock", "/api/arm"]) {
      await read("plain " + path, async () => { await fetch(base + path, { method: "POST", mode: "no-cors", headers: { "content-type": "text/plain" }, body: '{"file":"long.yaml","confirm":true}' }); return "sent"; });
      await read("json " + path, async () => { const r = await fetch(base + path, { method: "POST", headers: { "content-type": "application/json" }, body: '{"file":"long.yaml","confirm":true}', credentials: "include" }); return r.ok ? "DONE" : "refused"; });
    }
    await read("events", () => new Promise((ok) => { const s = new EventSource(base + "/api/events"); s.onmessage = () => { s.close(); ok("READ"); }; s.onerror = () => { s.close(); ok("refused"); }; }));
    await read("socket", () => new Promise((ok) => { const s = new WebSocket(base.replace("http", "ws") + "/api/events"); s.onopen = () => { s.close(); ok("READ"); }; s.onerror = () => ok("refused"); }));
    await read("frame", () => new Promise((ok) => { const f = document.createElement("iframe"); f.src = base + "/"; f.onload = () => { let seen = "refused"; try { if (f.contentDocument && f.contentDocument.getElementById("stop")) seen = "READ"; } catch (e) { } ok(seen); }; document.body.append(f); }));
    await read("script", () => new Promise((ok) => { const s = document.createElement("script"); s.type = "module"; s.src = base + "/page/main.js"; s.onload = () => ok("READ"); s.onerror = () => ok("refused"); document.body.append(s); }));
    const form = document.createElement("form"); form.method = "post"; form.action = base + "/api/start"; form.enctype = "text/plain"; form.target = "hidden";
    const field = document.createElement("input"); field.name = '{"file":"long.yaml","confirm":true,"x":"'; field.value = '"}'; form.append(field);
    const frame = document.createElement("iframe"); frame.name = "hidden"; document.body.append(frame, form); form.submit();
    await new Promise((ok) => setTimeout(ok, 500));
  }
  document.title = "done"; window.tried = tried;
})();
</script>"""


def test_a_foreign_page_reads_nothing_and_starts_nothing(chrome, bed):
    """The same page from another host name that also resolves to us (DNS rebinding), while the person is unlocked in the same browser and
    a start from elsewhere is even allowed: 0 of all attempts read or start anything."""

    class Evil(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(EVIL.replace("PORT", str(bed.port)).encode())

        def log_message(self, *arguments):
            pass

    bed.rest()
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Evil)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        opened(chrome, bed)
        unlocked(chrome, bed)
        press(chrome, "allow")
        until(lambda: "allowed" in text(chrome, "allow"))
        before = (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text()
        chrome.get(f"http://evil.test:{server.server_port}/")
        until(lambda: chrome.title == "done", 60.0)
        tried = chrome.execute_script("return window.tried")
        assert len(tried) > 20 and [t for t in tried if t[1] in ("READ", "DONE")] == []
        # The panel's page itself under the foreign name: refused before anything is served.
        chrome.get(f"http://evil.test:{bed.port}/")
        assert "not the name of this panel" in chrome.page_source
        time.sleep(1.0)
        assert not bed.status()["running"]
        assert (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text() == before
        # Under a name that is ours the page works.
        chrome.get(f"http://oven.test:{bed.port}/")
        until(lambda: "At rest" in text(chrome, "state"))
        assert not chrome.find_element(By.ID, "allow").is_displayed()
    finally:
        server.shutdown()
        server.server_close()
