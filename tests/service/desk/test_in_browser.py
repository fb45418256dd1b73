"""Whole calls at the desk, in a real browser against a real server, and what people do to browsers meanwhile."""

from __future__ import annotations

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.service.desk.conftest import Browser

HAZARD = "no"


def first_suspect(browser: Browser) -> str:
    return browser.texts(".suspect")[0]


def circuits(browser: Browser) -> str:
    return str(browser.one("#drawing-told").get_attribute("textContent"))


def test_a_lost_leg_ends_with_an_electrician(browser: Browser) -> None:
    browser.open_call("the oven is dead and no burner heats, but the clock is on", "T-1001")
    assert browser.driver.title.startswith("T-1001")
    assert "shock" in browser.one("#ask").text.lower()  # danger comes first
    asked = 0
    while browser.all(".answers button") and asked < 8:
        browser.press("1")  # no danger; the house's lights steady; the clock shows the time
        asked += 1
    assert asked >= 1
    assert "electrician" in browser.one("#say-title").text
    assert "leg" in first_suspect(browser)
    assert "Leg L1: alive." in circuits(browser)
    assert "Left front unit: dead." in circuits(browser)
    assert "Leg L2: unknown." in circuits(browser)  # suspected, and yet proved by nothing
    assert "electrician" in browser.one("[aria-labelledby=visit-title]").text.lower()
    assert "electrician" in str(browser.one("#summary").get_attribute("value")).lower()
    assert "no burner heats" in browser.texts(".history li")[0]


def test_a_hot_light_names_the_limiter_and_its_part(browser: Browser) -> None:
    browser.open_call("the hot surface light stays on over the left front burner, and it is stone cold")
    browser.answer(HAZARD)
    assert "limiter" in first_suspect(browser)
    assert "left front" in first_suspect(browser)
    assert "limiter" in browser.one("[aria-labelledby=visit-title]").text
    browser.one(".suspects summary").click()
    browser.leaves(browser.one('.suspects a[href*="/desk/rules/"]'))
    assert browser.one("h1").text.startswith("Rule ")
    assert "hot-surface light" in browser.one(".sentence").text
    browser.leaves(browser.one('dl a[href*="/desk/faults/"]'))
    assert "stuck" in browser.one("h1").text


def test_an_oven_sensor_is_found_on_site_with_readings(browser: Browser) -> None:
    browser.open_call("the oven will not heat, bake and broil are both cold. the clock is on and the burners work")
    browser.answer(HAZARD)
    before = browser.texts(".suspect")
    browser.speaks("technician")
    assert browser.texts(".suspect") == before  # the belief carries over
    browser.say("power off at the breaker and proved dead")
    browser.leaves(browser.one('[aria-labelledby=others-title] a[href*="more=all"]'))
    browser.leaves(browser.one('#others a[href*="ask=ohms.sensor"]'))
    rows = browser.texts("[aria-labelledby=expected-title] tbody tr")
    assert rows[0].startswith("A sound appliance")
    assert "ohm" in rows[0]
    assert any("sensor" in row and "OL" in row for row in rows)
    browser.one("#reading").send_keys("OL")
    browser.leaves(browser.one("#reading"), Keys.ENTER)
    judged = browser.one(".judged").text
    assert "OL" in judged
    rows = browser.texts("[aria-labelledby=expected-title] tbody tr")
    fitting = [row for row in rows if "does not fit" not in row and row.endswith("fits")]
    assert len(fitting) == 1
    assert "sensor" in fitting[0]
    browser.leaves(browser.one(".judged button"))
    assert "sensor" in first_suspect(browser)
    assert "established" in first_suspect(browser)
    assert "oven sensor" in browser.one("[aria-labelledby=visit-title]").text


def test_a_danger_stops_and_is_announced(browser: Browser) -> None:
    browser.open_call("sparks are coming out of the oven")
    stop = browser.one("#stop [role=alert]")
    assert "Say aloud now" in stop.text
    assert browser.driver.title.startswith("STOP")
    assert browser.one("#stop").get_attribute("aria-live") == "assertive"
    assert browser.driver.switch_to.active_element.get_attribute("role") == "alert"  # read first, typed into later


def messages(browser: Browser) -> int:
    return len(browser.all(".history > li"))


def test_a_reload_repeats_nothing(browser: Browser) -> None:
    browser.open_call("left front burner is dead")
    browser.answer(HAZARD)
    count = messages(browser)
    for _ in range(3):
        browser.driver.refresh()
    assert messages(browser) == count


def test_the_back_button_shows_the_call_as_it_is(browser: Browser) -> None:
    browser.open_call("left front burner is dead")
    browser.answer(HAZARD)
    count = messages(browser)
    browser.driver.back()
    browser.driver.back()
    browser.driver.forward()
    assert messages(browser) == count
    browser.say("the other burners work fine")
    assert messages(browser) == count + 1


def test_a_double_submit_is_one_message(browser: Browser) -> None:
    address = browser.open_call("left front burner is dead")
    before = messages(browser)
    browser.one("#text").send_keys("the clock is on")
    browser.driver.execute_script(
        "const form = document.getElementById('text').form; HTMLFormElement.prototype.submit.call(form);"
        "HTMLFormElement.prototype.submit.call(form);"
    )
    browser.go(address)
    assert messages(browser) == before + 1


def test_of_two_tabs_the_later_is_told_and_keeps_its_text(browser: Browser) -> None:
    address = browser.open_call("left front burner is dead")
    driver = browser.driver
    first = driver.current_window_handle
    driver.switch_to.new_window("tab")
    browser.go(address)
    driver.switch_to.window(first)
    browser.answer(HAZARD)
    count = messages(browser)
    [other] = [handle for handle in driver.window_handles if handle != first]
    driver.switch_to.window(other)
    browser.say("the clock is dark")
    assert "changed meanwhile" in browser.one(".notice").text
    assert messages(browser) == count
    assert browser.one("#text").get_attribute("value") == "the clock is dark"
    browser.leaves(browser.one(".say button.main"))
    assert messages(browser) == count + 1


@pytest.mark.parametrize("text", ["<script>document.title='taken'</script>", "'); DROP TABLE cases; --", "{{ 7 * 7 }}"])
def test_what_is_typed_stays_text(browser: Browser, text: str) -> None:
    address = browser.open_call(f"left front is dead {text}", text)
    browser.say(f"the oven works {text}")
    browser.go(address)
    assert browser.one("h1").text == text
    assert sum(text in said for said in browser.texts(".history .said")) == 2
    assert browser.driver.title.startswith(text)
    browser.go("/desk")
    assert text in browser.texts(".calls a")


def test_all_of_it_works_without_script(browser: Browser) -> None:
    browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.go("/desk")
        browser.one("#text").send_keys("left front burner is dead")
        browser.one("button.main").click()
        browser.one('.answers button[value="no"]').click()
        browser.one(".facts .fact")
        assert "dead" in browser.texts(".history .said")[0]
        assert not browser.driver.find_element(By.CSS_SELECTOR, "[data-hint]").is_displayed()
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
