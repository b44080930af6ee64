"""The curve's own rules in a real browser, without an oven: ticks, their words, ranges, thinning, outlook, size."""

import itertools

import pytest

from .browser import MARKS, sized, until

pytestmark = [*MARKS, pytest.mark.slow]


@pytest.fixture
def asked(chrome, pages):
    """`asked("scale.js", "m.ticks(0, 10, 5)", …)`: what the expression gives, with the module as `m`."""
    chrome.get(pages + "parts.html")

    def ask(module: str, expression: str, *arguments):
        found = chrome.execute_async_script(
            f"const done = arguments[arguments.length - 1], given = arguments; import('/page/{module}')"
            f".then((m) => done({{ said: {expression} }})).catch((e) => done({{ error: String(e) }}));",
            *arguments,
        )
        assert "error" not in found, found
        return found["said"]

    return ask


#: Lowest and highest of an axis: usual ranges of ovens, in °C and °F, whole runs and a soak's noise.
RANGES = [
    (low, low + span) for low in (-40.0, 0.0, 17.3, 68.0, 950.5) for span in (0.8, 6.0, 37.0, 111.0, 260.0, 1234.0)
]


def test_an_axis_has_several_round_numbers_and_never_too_many(asked):
    """At 800×480 an axis had one number, or two."""
    for low, high in RANGES:
        for most in (3, 4, 5, 6, 8):
            found = asked("scale.js", "m.ticks(...given[0])", [low, high, most])
            assert most / 2 - 0.5 <= len(found) <= most, (low, high, most, found)
            assert low - 1e-6 <= found[0] and found[-1] <= high + 1e-6
            steps = {round(b - a, 9) for a, b in itertools.pairwise(found)}
            assert len(steps) <= 1
            for step in steps:
                digits = f"{step:.6e}".split("e")[0].rstrip("0").rstrip(".")
                assert digits in ("1", "2", "5") or (digits == "2.5" and step >= 25.0), step
                assert all(abs(t / step - round(t / step)) < 1e-6 for t in found)


def test_two_minutes_and_two_hours_never_look_alike(asked):
    said = asked("scale.js", "given[0].map(m.tickWords)", [0, 30, 90, 120, 5400, 7200, 93600, 172800])
    assert said == ["0", "30 s", "1:30 min", "2 min", "1 h 30", "2 h", "1 d 2 h", "2 d"]
    for begin in (0.0, 77.0, 3600.0, 90000.0):
        for wide in (60.0, 600.0, 7200.0, 50000.0, 260000.0):
            words = asked("scale.js", "m.timeTicks(...given[0]).map(m.tickWords)", [begin, begin + wide, 6])
            assert len(words) == len(set(words)) and 2 <= len(words) <= 7, words
            assert all(word == "0" or not word.replace(":", "").isdigit() for word in words), "each with its unit"


def test_a_long_run_s_range_needs_no_room_on_the_stack(asked):
    """`Math.max(...values)` of 200,000 values is an exception."""
    script = """(() => { const n = 200000, t = [...Array(n).keys()], v = t.map((i) => 20 + i / 1000);
      v[150] = null; v[777] = 900; v[50000] = -5;
      return [m.range([[t, v]], 0, n), m.range([[t, v]], 1000, 40000), m.range([[[], []]], 0, 1)]; })()"""
    whole, part, empty = asked("scale.js", script)
    assert whole == [-5, 900] and part == [21, 60] and empty is None


def test_noise_does_not_fill_the_picture(asked):
    low, high = asked("scale.js", "m.roomy([119.6, 120.4])")
    assert high - low >= 6.0 and low < 119.6 and high > 120.4
    low, high = asked("scale.js", "m.roomy([20, 220])")
    assert low == pytest.approx(10.0) and high == pytest.approx(234.0)


def test_thinning_for_the_screen_loses_no_peak_and_keeps_the_order(asked):
    script = """(() => { const n = 50000, t = [...Array(n).keys()], v = t.map((i) => Math.sin(i / 900));
      v[31234] = 9; v[22222] = -9; const k = m.kept(t, v, 0, n, 700);
      return [k.length, k.includes(31234), k.includes(22222), k[0], k[k.length - 1],
        k.every((x, i) => !i || x > k[i - 1])]; })()"""
    count, high, low, first, last, rising = asked("scale.js", script)
    assert high and low and rising and first == 0 and last == 49999 and count <= 4 * 702


def test_a_window_keeps_one_neighbour_on_each_side_and_a_gap_stays_a_gap(asked):
    assert asked("scale.js", "m.kept([0, 10, 20, 30, 40, 50], [1, 1, 1, 1, 1, 1], 22, 28, 100)") == [1, 2, 3, 4]
    assert asked("scale.js", "m.between([0, 10, 20], [1, null, 3], 15)") is None
    assert asked("scale.js", "m.between([0, 10, 20], [1, 2, 4], 15)") == 3
    assert asked("scale.js", "m.between([0, 10], [1, 2], 11)") is None


def test_the_expectation_begins_where_the_oven_is_and_ends_where_the_plan_does(asked):
    """The plan rises 1 K in 6 s to 120 °C and stays; the oven is 10 K below it, and heating takes a tenth more or
    less."""
    plan = {
        "columns": {
            "time_s": [float(t) for t in range(0, 1201, 60)],
            "chamber_c": [20.0 + min(t, 600) / 6.0 for t in range(0, 1201, 60)],
        }
    }
    look = {"plan_s": 300.0, "shift_s": 90.0, "spread": 0.1}
    out = asked("scale.js", "m.outlook(...given[0])", [plan, look, 390.0, 60.0])
    assert out["time_s"][0] == 390.0 and out["chamber_c"][0] == 60.0 == out["low"][0] == out["high"][0]
    assert out["time_s"][-1] == 390.0 + 900.0
    # A difference at this moment fades: exp(-900 / 300) of 10 K is left.
    assert out["chamber_c"][-1] == pytest.approx(120.0 - 10.0 * 2.718281828**-3, abs=1e-3)
    for low, middle, high in zip(out["low"], out["chamber_c"], out["high"], strict=True):
        assert low <= middle <= high
    widths = [h - low for low, h in zip(out["low"], out["high"], strict=True)]
    # A tenth of the 300 s that heating still takes is 30 s, at 1 K in 6 s 5 K, on each side.
    assert max(widths) == pytest.approx(2 * 5.0 + 1.0, abs=3.0)
    assert asked("scale.js", "m.outlook(...given[0])", [None, look, 0.0, 20.0]) is None
    assert asked("scale.js", "m.outlook(...given[0])", [plan, look, 0.0, None]) is None


def test_the_curve_is_drawn_anew_when_the_screen_is_turned(chrome, pages):
    sized(chrome, 390, 844)
    chrome.get(pages + "parts.html")
    fits = """const c = document.getElementById('p-curve');
return c.width > 0 && c.width === Math.round(c.clientWidth * devicePixelRatio) && c.width"""
    before = until(lambda: chrome.execute_script(fits))
    sized(chrome, 844, 390)
    after = until(lambda: (wide := chrome.execute_script(fits)) and wide != before and wide, 20.0)
    assert after > before


def test_every_part_of_the_look_is_shown_without_an_oven(chrome, pages):
    chrome.get(pages + "parts.html")
    until(lambda: chrome.execute_script("return document.querySelectorAll('#p-flow path').length") >= 6)
    assert chrome.execute_script("return document.querySelectorAll('#p-chain li').length") == 9
    levels = "return [...document.querySelectorAll('.alarm')].map((a) => a.dataset.level)"
    assert chrome.execute_script(levels) == ["high", "high", "middle"]
    assert [e for e in chrome.get_log("browser") if e["level"] == "SEVERE"] == []


def test_pixel_columns_lose_no_peak_and_leave_no_hole(asked):
    """50,000 values in 700 columns, a jump, a peak and a gap; then the same values with a window of a few."""
    script = """(() => { const n = 50000, t = [...Array(n).keys()], v = t.map((i) => 100 + 20 * Math.sin(i / 900));
      for (let i = 20000; i < n; i++) v[i] += 60;
      v[31234] = 400; for (let i = 40000; i < 41000; i++) v[i] = null;
      const c = m.columns(t, v, 0, n, 700), low = [...c.low], high = [...c.high];
      const holes = low.filter((x, k) => k && !(x > high[k - 1] + 1e-6) && !(high[k] < low[k - 1] - 1e-6) ? false
        : k && x === x && low[k - 1] === low[k - 1]).length;
      const kept = m.columns(t, v, 0, n, 700) === c, few = m.columns(t, v, 1000, 1070, 700);
      return { holes, peak: Math.max(...high.filter((x) => x === x)), gap: low.filter((x) => x !== x).length,
        kept, few: few.low.filter((x) => x !== x).length,
        mean: [...c.mean.slice(300, 301)], exact: few.mean[0] - v[1000] }; })()"""
    said = asked("scale.js", script)
    assert said["holes"] == 0 and said["peak"] == 400 and said["kept"]
    assert 12 <= said["gap"] <= 14, "1,000 of 50,000 values are missing"
    assert said["few"] == 0 and abs(said["exact"]) < 0.1


def test_a_line_of_many_points_is_as_thin_as_its_noise(chrome, pages):
    """Mitred joints drew spikes ten line widths long: at 80.0 ± 0.2 °C the trace is the noise and the pen, no more."""
    chrome.get(pages + "parts.html")
    script = """const done = arguments[arguments.length - 1];
Promise.all([import('/page/curve.js'), import('/page/draw.js')]).then(async ([{ Curve }]) => {
  const c = document.createElement('canvas'); c.style.cssText = 'position:fixed;left:0;top:0;width:700px;height:300px';
  document.body.append(c);
  const n = arguments[0], t = [...Array(n).keys()], curve = new Curve(c, { power: false });
  await new Promise(requestAnimationFrame);
  const v = t.map((i) => (i < 10 ? 20 : 80 + 0.2 * (i % 2 ? 1 : -1)));
  curve.set({ lines: [{ kind: 'chamber', time_s: t, values: v }] });
  const box = curve.box(), g = c.getContext('2d'), x = Math.round(box.x + box.w * 0.6);
  const data = g.getImageData(x, 0, 1, 300).data, rows = [];
  for (let y = 0; y < 300; y++) if (data[4 * y + 3] > 60 && data[4 * y] > 140 && data[4 * y + 2] < 90) rows.push(y);
  done([rows.length ? rows.at(-1) - rows[0] + 1 : 0, Math.abs(curve.at.y(80.2) - curve.at.y(79.8))]); });"""
    for points in (300, 20_000):
        tall, noise = chrome.execute_async_script(script, points)
        assert 1 <= tall <= noise + 2.0 + 2.0, (points, tall, noise)
