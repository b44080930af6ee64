"""What the tests in a real browser share: the browser, and what a person does with a page."""

import contextlib
import shutil
import time

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

from selenium import webdriver
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

__all__ = [
    "MARKS",
    "By",
    "Keys",
    "browser",
    "chosen",
    "complaints",
    "opened",
    "press",
    "sized",
    "started",
    "text",
    "unlocked",
    "until",
]
DRIVER = shutil.which("chromedriver")
#: Of every test in a browser.
MARKS = [
    pytest.mark.timeout(240),
    pytest.mark.skipif(
        not (DRIVER and (shutil.which("chromium") or shutil.which("google-chrome"))),
        reason="chromium or its driver is not installed",
    ),
]


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
    """Press the choice with those words; lists are redrawn at any moment."""

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
    # No far view in the middle of a test that waits for a minute.
    chrome.execute_script("localStorage.setItem('far', 'off')")
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
    """As a person does: choose it, perhaps look at what is expected (no need to wait for that), start it."""
    chrome.find_element(By.CSS_SELECTOR, "[data-page=schedules]").click()
    chosen(chrome, "schedule-list", name)
    if looked:
        until(lambda: "kWh" in text(chrome, "schedule-plan"))
    # The page shuts its question when the service is silent for a moment (nothing may stand before that warning), and
    # limits unlike the last run's want a second word: one asks again then, as a person would.
    end = time.monotonic() + 120.0
    while not chrome.current_url.endswith("#now"):
        assert time.monotonic() < end, (
            text(chrome, "ask-said"),
            text(chrome, "loud"),
            text(chrome, "said"),
            text(chrome, "schedule-start"),
        )
        question = chrome.find_element(By.ID, "ask").get_attribute("open") is not None
        for box in chrome.find_elements(By.ID, "accept"):
            # The preview is not waited for here.
            with contextlib.suppress(ElementNotInteractableException, StaleElementReferenceException):
                if not box.is_selected():
                    box.click()
        pressed = chrome.find_element(By.ID, "ask-yes" if question else "schedule-start")
        if pressed.is_displayed() and pressed.is_enabled():
            # It may be shut at this moment.
            with contextlib.suppress(ElementNotInteractableException, ElementClickInterceptedException):
                pressed.click()
        time.sleep(0.3)


def complaints(chrome) -> list:
    """Messages on the console, except refusals that the test itself caused."""
    return [
        e
        for e in chrome.get_log("browser")
        if e["level"] in ("SEVERE", "WARNING") and "Failed to load resource" not in e["message"]
    ]
