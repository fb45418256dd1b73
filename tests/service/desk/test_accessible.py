"""Every kind of page, light and dark, wide and narrow: axe-core finds nothing serious, and nothing is wider than it."""

from __future__ import annotations

from typing import Any

import pytest
from axe_core_python.selenium import Axe
from selenium.webdriver.common.keys import Keys

from tests.service.desk.conftest import Browser

BAD = ("serious", "critical")
LOOKS = [(1280, "light"), (390, "dark")]
BOOK_PAGES = ("/desk/faults", "/desk/faults/supply.leg_l2_open", "/desk/rules/one-leg-lost", "/desk/sign-in")


def violations(browser: Browser) -> list[tuple[str, list[str]]]:
    found: dict[str, Any] = Axe().run(browser.driver)
    return [
        (entry["id"], [node["html"][:120] for node in entry["nodes"]])
        for entry in found["violations"]
        if entry["impact"] in BAD
    ]


def check(browser: Browser) -> None:
    """As it opens, and with everything unfolded."""
    for _ in range(2):
        assert violations(browser) == []
        wide, window = browser.driver.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
        assert wide <= window
        browser.driver.execute_script("for (const one of document.querySelectorAll('details')) one.open = true")


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_the_book(browser: Browser, width: int, scheme: str) -> None:
    browser.look(width, scheme)
    for path in BOOK_PAGES:
        browser.go(path)
        check(browser)


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_a_call(browser: Browser, width: int, scheme: str) -> None:
    browser.look(width, scheme)
    browser.go("/desk")
    check(browser)
    address = browser.open_call("the oven is dead and no burner heats, but the clock is on")
    browser.speaks("technician")
    browser.say("power off and proved dead")
    browser.go(address + "?ask=volts%40L1-L2%2Floaded&reading=1.2+V")
    assert browser.all(".judged")
    check(browser)
    browser.say("no wait, there are sparks from the oven")
    assert browser.all(".stop")
    check(browser)


def test_the_keyboard_reaches_everything_in_reading_order(browser: Browser) -> None:
    browser.open_call("left front burner is dead")
    assert browser.driver.switch_to.active_element.get_attribute("id") == "text"
    browser.driver.execute_script("document.querySelector('.skip').focus()")
    seen: list[str] = []
    for _ in range(200):
        at = browser.driver.execute_script(
            "const all = [...document.querySelectorAll('*')]; const one = document.activeElement;"
            "return one === document.body ? -1 : all.indexOf(one)"
        )
        if at == -1 or str(at) in seen:
            break
        seen.append(str(at))
        browser.driver.switch_to.active_element.send_keys(Keys.TAB)
    order = [int(at) for at in seen]
    reachable = browser.driver.execute_script(
        "return [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')]"
        ".filter(one => one.checkVisibility()).length"
    )
    assert order == sorted(order)
    assert len(order) >= reachable
