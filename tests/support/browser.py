"""A real Chromium, driven by Selenium through Debian's chromedriver: a phone's size and touch, or a desk's."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

T = TypeVar("T")
GIVE_UP_S = 300.0  # for a page that hangs; a good one never comes near it


class Browser:
    """One window."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver
        self._wait = WebDriverWait(
            driver, GIVE_UP_S, poll_frequency=0.05, ignored_exceptions=[StaleElementReferenceException]
        )

    def open(self, address: str) -> None:
        self.driver.get(address)

    def run(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def text(self, selector: str) -> str:
        return str(self.run("return (document.querySelector(arguments[0]) || {}).innerText || ''", selector))

    def until(self, found: Callable[[], T]) -> T:
        """Return what `found` finds, waiting until that is something."""
        return self._wait.until(lambda _: found())

    def until_text(self, selector: str, words: str) -> str:
        self.until(lambda: words in self.text(selector))
        return self.text(selector)

    def click(self, selector: str) -> None:
        self.driver.find_element(By.CSS_SELECTOR, selector).click()

    def button(self, label: str) -> Any:
        """Return the button of this label, waiting for it."""
        path = f"//button[normalize-space()={json.dumps(label)} and not(@hidden)]"
        return self.until(lambda: next(iter(self.driver.find_elements(By.XPATH, path)), None))

    def tap(self, label: str) -> None:
        """Touch the middle of a button, as a finger does."""
        button = self.button(label)
        self.run("arguments[0].scrollIntoView({block: 'center'})", button)
        box = self.run(
            "const r = arguments[0].getBoundingClientRect(); return [r.x, r.y, r.width, r.height]", button
        )
        at = [{"x": box[0] + box[2] / 2, "y": box[1] + box[3] / 2}]
        self.command("Input.dispatchTouchEvent", type="touchStart", touchPoints=at)
        self.command("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def command(self, name: str, **values: Any) -> Any:
        """Send a command of the browser's own protocol."""
        return self.driver.execute_cdp_cmd(name, values)

    def size(self, width: int, height: int, *, phone: bool) -> None:
        self.command(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2 if phone else 1,
            mobile=phone,
        )  # fmt: skip
        self.command("Emulation.setTouchEmulationEnabled", enabled=phone)

    def dark(self, yes: bool) -> None:
        features = [{"name": "prefers-color-scheme", "value": "dark" if yes else "light"}]
        self.command("Emulation.setEmulatedMedia", features=features)

    def complaints(self) -> list[str]:
        """What the browser has complained of since the last call, such as a refused script."""
        return [str(entry["message"]) for entry in self.driver.get_log("browser")]

    def picture(self, path: Path) -> None:
        path.write_bytes(self.driver.get_screenshot_as_png())


@contextmanager
def browser(width: int = 390, height: int = 844, *, phone: bool = True) -> Iterator[Browser]:
    """Open a window while the block runs."""
    options = webdriver.ChromeOptions()
    options.binary_location = str(shutil.which("chromium"))
    for word in ("headless=new", "no-sandbox", "disable-dev-shm-usage", "disable-gpu", "no-first-run",
                 "disable-background-networking", "disable-component-update", "disable-sync",
                 "no-default-browser-check", "hide-scrollbars"):  # fmt: skip
        options.add_argument(f"--{word}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(str(shutil.which("chromedriver"))))
    try:
        made = Browser(driver)
        made.size(width, height, phone=phone)
        yield made
    finally:
        driver.quit()
