"""Chromium without a window, one for all tests; skipped with the reason where it is not installed."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait

from rules import Expert
from service.app import create_app
from service.cases.store import Store
from service.settings import Settings
from tests.service.databases import new_store
from tests.service.running import Running

PATIENCE = 20  # seconds; a page takes far less
ARGUMENTS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


@pytest.fixture(scope="session")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return new_store(tmp_path_factory.mktemp("desk"))


@pytest.fixture(scope="session")
def app(expert: Expert, store: Store) -> Flask:
    return create_app(expert, Settings(store=store))


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if program is None or driver is None:
        pytest.skip("Chromium is not installed; apt-get install chromium chromium-driver")
    options = Options()
    options.binary_location = program
    for argument in (*ARGUMENTS, f"--user-data-dir={tmp_path_factory.mktemp('chromium')}"):
        options.add_argument(argument)
    made = webdriver.Chrome(options=options, service=Service(driver))
    made.set_page_load_timeout(PATIENCE)
    yield made
    made.quit()


@dataclass
class Browser:
    """One window of the browser at the desk of a real server."""

    driver: webdriver.Chrome
    address: str

    def go(self, path: str) -> None:
        self.driver.get(path if path.startswith("http") else self.address + path)

    def one(self, css: str) -> WebElement:
        return WebDriverWait(self.driver, PATIENCE).until(lambda driver: driver.find_element(By.CSS_SELECTOR, css))

    def all(self, css: str) -> list[WebElement]:
        return self.driver.find_elements(By.CSS_SELECTOR, css)

    def texts(self, css: str) -> list[str]:
        return [element.text for element in self.all(css)]

    def leaves(self, act: WebElement | None, *keys: str) -> None:
        """Click, or press keys on the page; then wait for the next page."""
        before = self.one("html")
        if act is not None and not keys:
            act.click()
        else:
            (act or self.driver.switch_to.active_element).send_keys(*keys)
        waiting = WebDriverWait(self.driver, PATIENCE)
        waiting.until(lambda _: _gone(before))
        waiting.until(lambda driver: driver.execute_script("return document.readyState") == "complete")

    def open_call(self, text: str, reference: str = "") -> str:
        self.go("/desk")
        self.one("#reference").send_keys(reference)
        self.one("#text").send_keys(text)
        self.leaves(self.one("button.main"))
        return self.driver.current_url

    def say(self, text: str) -> None:
        self.one("#text").send_keys(text)
        self.leaves(self.one("#text"), Keys.ENTER)

    def answer(self, value: str) -> None:
        self.leaves(self.one(f'.answers button[value="{value}"]'))

    def press(self, digit: str) -> None:
        """Answer by one key, out of the field."""
        self.driver.switch_to.active_element.send_keys(Keys.ESCAPE)
        self.leaves(self.one("body"), digit)

    def speaks(self, role: str) -> None:
        self.one(f'#speaker option[value="{role}"]').click()
        self.leaves(self.one(".speaker button"))

    def look(self, width: int, scheme: str) -> None:
        """Width of the window in CSS pixels, light or dark."""
        metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width < 500}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})

    def shoot(self, file: Path) -> None:
        """The window's picture, for a person to look at."""
        self.driver.save_screenshot(str(file))


def _gone(element: WebElement) -> bool:
    """Whether its page was left. Between two pages the driver knows several words for that."""
    try:
        element.is_enabled()
    except WebDriverException:
        return True
    return False


@pytest.fixture
def browser(chromium: webdriver.Chrome, service: Running) -> Iterator[Browser]:
    made = Browser(chromium, service.address)
    made.look(1280, "light")
    yield made
    complaints = [entry["message"] for entry in chromium.get_log("browser") if entry["level"] == "SEVERE"]
    first, *more = chromium.window_handles
    for handle in more:
        chromium.switch_to.window(handle)
        chromium.close()
    chromium.switch_to.window(first)
    chromium.delete_all_cookies()
    # A page refused on purpose is told of by the browser as a failed load; a script or style that fails is not.
    assert not [c for c in complaints if "Failed to load resource" not in c]
