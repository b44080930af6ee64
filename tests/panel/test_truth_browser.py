"""What the page says about the oven is true: after days, in other units, when data is old, when a message has been
read."""

import os
import signal

import pytest

from kilnctl.safety.state import DANGER, WELDED

from .browser import MARKS, By, opened, text, until

pytestmark = MARKS
#: A run of 72 h at one row a second, taken as the page takes it: first the picture, then what comes. Each row is drawn.
DAYS = """const done = arguments[0];
(async () => {
  const { Now } = await import("/page/now.js");
  const page = new Now(), others = ["reference_c", "chamber_c", "limit_c", "part_c", "part_estimate_c"];
  const status = { running: true, run_s: 0, state: "soak", chamber_c: 120, trips: [] };
  let errors = 0, drawn = 0;
  for (let hour = 0; hour < 72; hour++) {
    const row = [...Array(3600).keys()];
    const columns = { time_s: row.map((i) => hour * 3600 + i), duty: row.map(() => 0.3) };
    columns.part_sd_k = row.map(() => 1);
    for (const name of others) columns[name] = row.map((i) => 120 + Math.sin(i / 60));
    status.run_s = hour * 3600 + 3599;
    const said = { status, fresh: true, plan: null, milestones: [], curve: { whole: hour === 0, columns } };
    try { page.heard(page.take(said)); drawn++; } catch { errors++; }
  }
  const canvas = document.getElementById("curve"), g = canvas.getContext("2d");
  const pixels = g.getImageData(0, 0, canvas.width, canvas.height).data;
  const colours = new Set();
  for (let i = 0; i < pixels.length; i += 4) colours.add(`${pixels[i]},${pixels[i + 1]},${pixels[i + 2]}`);
  const t = page.columns.time_s, gap = t.reduce((most, v, i) => Math.max(most, i ? v - t[i - 1] : 0), 0);
  return { errors, drawn, rows: t.length, last: t.at(-1), first: t[0], gap, colours: colours.size };
})().then(done, (e) => done(String(e)));"""

#: A rise to 80 °C and a soak with noise of ±0.5 K, about one sample each pixel, as the page draws it: how high the
#: chamber's line is in the soak, px, and how high the noise alone is.
NOISE = """const done = arguments[0];
(async () => {
  const { Curve } = await import("/page/curve.js");
  const canvas = document.createElement("canvas"), time_s = [...Array(600).keys()];
  canvas.style.cssText = "position: fixed; inset: 0; width: 700px; height: 400px; --ember: #ff0000; --line: #808080";
  document.body.append(canvas);
  const chamber_c = time_s.map((i) => (i < 200 ? 20 + 0.3 * i : i % 2 ? 79.5 : 80.5));
  const curve = new Curve(canvas);
  curve.set({ lines: [{ kind: "chamber", time_s, values: chamber_c }] });
  const { x, w, h } = curve.box(), ratio = devicePixelRatio, left = Math.round((x + w / 2) * ratio);
  const picture = canvas.getContext("2d").getImageData(left, 0, Math.round((w / 3) * ratio), canvas.height);
  const rows = new Set();
  for (let i = 0; i < picture.data.length; i += 4) {
    const [red, , blue, solid] = picture.data.slice(i, i + 4);
    if (red - blue > 60 && solid > 60) rows.add(Math.floor(i / 4 / picture.width));
  }
  const high = (Math.max(...rows) - Math.min(...rows) + 1) / ratio;
  canvas.remove();
  return { high, noise: h / (60.5 * 1.12) };
})().then(done, (e) => done(String(e)));"""


@pytest.mark.slow
def test_the_line_is_no_thicker_than_the_noise_and_its_own_width(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    found = chrome.execute_async_script(NOISE)
    assert found["noise"] <= found["high"] <= found["noise"] + 2.0 + 2.0  # the line's width, and soft edges


@pytest.mark.parametrize(
    "danger, words",
    [
        (DANGER, "Heat cannot be cut from here"),
        (WELDED, "The contactor does not open, and only the relay keeps the heat out"),
        ("SOMETHING ELSE IS SEEN", "Something else is seen"),
    ],
)
def test_the_headline_says_of_a_danger_what_it_is(chrome, bed, danger, words):
    bed.rest()
    opened(chrome, bed)
    heard = """const [danger, done] = arguments;
    import("/page/now.js").then(({ Now }) => {
      const status = { running: false, danger, state: "tripped", schedule: "Cure", trips: [] };
      new Now().heard({ status, fresh: true, milestones: [] });
      done(document.getElementById("state").textContent);
    });"""
    assert chrome.execute_async_script(heard, danger) == f"{words} · Cure"


@pytest.mark.slow
def test_a_page_left_open_for_three_days_keeps_its_curve_and_its_memory(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    found = chrome.execute_async_script(DAYS)
    assert found["errors"] == 0 and found["drawn"] == 72
    assert found["rows"] <= 12000 and found["last"] == 72 * 3600 - 1 and found["first"] == 0
    assert found["gap"] < 72 * 3600 / 400  # evenly over the whole run
    assert found["colours"] > 20  # there is a curve


@pytest.mark.slow
def test_fahrenheit_reaches_temperatures_differences_and_rates_in_sentences(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    said = chrome.execute_async_script(
        'const words = arguments[0], done = arguments[1]; import("/page/units.js").then((u) => {'
        "u.setF(true); const out = words.map(u.inUnit); u.setF(false); done(out); });",
        [
            "the heat is cut above 190 °C (50 K or 5 % above)",
            "rises at 240 K/h",
            "between 500 and 600 °C",
            "a type K thermocouple, 3 K-plugs",
            "seen: 104.5 °C",
        ],
    )
    assert said == [
        "the heat is cut above 374 °F (90 °F or 5 % above)",
        "rises at 432 °F/h",
        "between 932 and 1112 °F",
        "a type K thermocouple, 3 K-plugs",
        "seen: 220.1 °F",
    ]


@pytest.mark.slow
def test_a_message_leaves_when_it_has_been_read(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    say = 'const done = arguments[1]; import("/page/ask.js").then((m) => { m.say(arguments[0]); done(); });'
    chrome.execute_async_script(say, "it names no `highest`")
    assert text(chrome, "said") == "it names no highest"
    until(lambda: text(chrome, "said") == "", 40.0)


def test_what_is_old_is_greyed_with_its_age(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    assert not chrome.find_element(By.ID, "age").is_displayed()
    os.kill(bed.service.pid, signal.SIGSTOP)
    try:
        until(lambda: text(chrome, "age").endswith("s old"), 30.0)
        # Grey, thin and slanted instead of pale: it can still be read (a contrast of 4.5).
        look = """const s = (q) => getComputedStyle(document.querySelector(q)), grey = s('.times dt').color;
        return [...arguments].map((q) => [s(q).color === grey, Number(s(q).fontWeight), s(q).fontStyle])"""
        for grey, weight, style in chrome.execute_script(look, "#state", ".hot-figure", "#chamber", "#times dd"):
            assert grey and weight <= 400 and style == "italic"
        until(lambda: "does not answer" in text(chrome, "loud"), 30.0)
    finally:
        os.kill(bed.service.pid, signal.SIGCONT)
    until(lambda: not chrome.find_element(By.ID, "age").is_displayed(), 30.0)


@pytest.mark.slow
def test_the_wheel_scrolls_the_page_and_not_the_curve(chrome, bed):
    bed.rest()
    opened(chrome, bed)
    wheel = """const e = new WheelEvent("wheel", { deltaY: 100, ctrlKey: arguments[0], cancelable: true });
document.getElementById("curve").dispatchEvent(e); return e.defaultPrevented"""
    assert chrome.execute_script(wheel, False) is False and chrome.execute_script(wheel, True) is True


@pytest.mark.slow
def test_the_oven_s_page_shows_which_tests_of_safety_are_due(chrome, bed):
    opened(chrome, bed, "#oven")
    until(lambda: "8 of 8 are due" in text(chrome, "care"))
    shown = text(chrome, "care")
    assert "limiter: due" in shown and "never noted" in shown and "refuses no run" in shown


@pytest.mark.slow
def test_the_oven_s_pictures_are_drawn_again_when_the_screen_is_turned(chrome, bed):
    chrome.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", dict(width=390, height=844, deviceScaleFactor=1, mobile=True)
    )
    opened(chrome, bed, "#oven")
    until(lambda: "it would settle" in text(chrome, "size-words"))
    fits = "const c = document.getElementById('size-power'); return c.width > 0 && c.width === c.clientWidth"
    until(lambda: chrome.execute_script(fits))
    chrome.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", dict(width=844, height=390, deviceScaleFactor=1, mobile=True)
    )
    until(lambda: chrome.execute_script(fits), 20.0)
    assert chrome.execute_script("return document.getElementById('size-power').width") > 390 / 2
