"""What /parts looks like, small enough to keep: each part's place, its picture in cells of mean colour, its colours."""

import base64
import time

from .browser import sized, until

#: Cells of a part's picture, across and down.
CELLS = (12, 8)
PARTS = "section.card, #p-alarms, .curve-box"
#: The picture of a part, as PNG, in cells: [r, g, b, …].
SHRINK = """const [png, wide, high, done] = arguments;
createImageBitmap(new Blob([Uint8Array.from(atob(png), (c) => c.charCodeAt(0))])).then((b) => {
  const c = document.createElement('canvas'); c.width = wide; c.height = high;
  const g = c.getContext('2d'); g.imageSmoothingQuality = 'high'; g.drawImage(b, 0, 0, wide, high);
  done([...g.getImageData(0, 0, wide, high).data].filter((_, i) => i % 4 < 3)); });"""
#: Where a part stands as shares of the page's width, and the colours that are used in it.
PLACE = """const e = arguments[0], r = e.getBoundingClientRect(), seen = new Set();
for (const x of [e, ...e.querySelectorAll('*')]) { const s = getComputedStyle(x);
  for (const k of ['color', 'backgroundColor', 'borderTopColor', 'fill', 'stroke']) seen.add(s[k]); }
return { left: r.left / innerWidth, wide: r.width / innerWidth, colours: [...seen].sort().join(' ') };"""
STILL = "* { animation: none !important; transition: none !important; caret-color: transparent !important; }"


def look_of(chrome, url: str, light: str, style: str = "") -> dict[str, dict]:
    """Name of each part → {cells: hex of 3 bytes a cell, left, wide: shares of the page, colours}."""
    sized(chrome, 1000, 800)
    chrome.get(url)
    chrome.execute_script("localStorage.setItem('light', arguments[0])", light)
    chrome.get(url)
    until(lambda: chrome.execute_script("return document.querySelectorAll('#p-flow path').length") >= 6)
    add = "const s = document.createElement('style'); s.textContent = arguments[0]; document.head.append(s)"
    chrome.execute_script(add, STILL + style)
    time.sleep(0.5)  # the curve is drawn with the next frames
    found = {}
    for i, part in enumerate(chrome.find_elements("css selector", PARTS)):
        png = part.screenshot_as_base64
        assert base64.b64decode(png)[:4] == b"\x89PNG"
        cells = bytes(chrome.execute_async_script(SHRINK, png, *CELLS)).hex()
        place = chrome.execute_script(PLACE, part)
        found[f"{i}"] = {"cells": cells, **{k: round(v, 3) if k != "colours" else v for k, v in place.items()}}
    return found
