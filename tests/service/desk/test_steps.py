"""The desk's forms without a browser: recorded once, refused in words, and nothing that was typed becomes markup."""

from __future__ import annotations

import html
import re

import pytest
from flask.testing import FlaskClient

from rules import Expert
from tests.service.desk.forms import Page, opened, said, send

EVIL = "<script>alert(1)</script>\" onfocus='x' {{ 7*7 }} '); DROP TABLE cases; --"


def history(page: Page) -> int:
    return page.text.count(" Reply ")


def test_a_call_from_its_first_words_to_its_outcome(client: FlaskClient) -> None:
    address = opened(client, "left front burner is dead, the others work fine", reference="T-7")
    page = said(client, address, text="no")
    assert "any sign of danger" in page.text
    settled = send(client, page.form("/outcome"), fault="surface.element_open@left_front", fixed="yes", minutes="40")
    assert settled.status_code == 303
    closed = Page(client.get(address))
    assert "Closed." in closed.text
    assert "Fixed. 40" in closed.text.replace(".0", "")
    assert not [form for form in closed.forms if form.action.endswith("/say")]
    assert send(client, closed.form("/reopen")).status_code == 303
    assert Page(client.get(address)).form("/say", "text")


def test_the_same_form_twice_is_one_message(client: FlaskClient) -> None:
    address = opened(client, "left front burner is dead")
    form = Page(client.get(address)).form("/say", "text")
    first, second = send(client, form, text="the clock is on"), send(client, form, text="the clock is on")
    assert (first.status_code, second.status_code) == (303, 303)
    assert client.get(address).get_data(as_text=True).count("the clock is on</span>") == 1


def test_the_same_new_call_twice_is_one_call(client: FlaskClient) -> None:
    form = Page(client.get("/desk")).form("/desk/cases")
    one, two = (send(client, form, text="oven is dead").headers["Location"] for _ in range(2))
    assert one == two


def test_an_old_form_with_other_words_records_nothing_and_keeps_them(client: FlaskClient) -> None:
    address = opened(client, "left front burner is dead")
    form = Page(client.get(address)).form("/say", "text")
    send(client, form, text="the clock is on")
    late = send(client, form, text="the clock is dark")
    assert late.status_code == 409
    assert "changed meanwhile" in late.get_data(as_text=True)
    assert ">the clock is dark</textarea>" in late.get_data(as_text=True)


def test_a_typed_digit_picks_an_answer_and_zero_is_not_sure(client: FlaskClient) -> None:
    address = opened(client, "left front burner is dead")
    assert "nothing of the kind" in said(client, address, text="1").text
    again = opened(client, "left front burner is dead")
    assert said(client, again, text="0").text.count("nobody can tell") >= 1


def test_a_fact_is_struck_and_a_fact_is_corrected(client: FlaskClient) -> None:
    address = opened(client, "the clock is on and left front is dead")
    page = Page(client.get(address))
    facts = [form for form in page.forms if form.action.endswith("/strike")]
    assert len(facts) == 2
    clock = next(f for f in page.forms if f.action.endswith("/correct") and f.fields["reads"] == "display")
    assert clock.fields["value"] == "lit"
    assert send(client, clock, value="dark").status_code == 303
    assert "replaced" in Page(client.get(address)).text
    assert send(client, facts[0]).status_code == send(client, facts[0]).status_code == 303
    assert "struck" in Page(client.get(address)).text


def test_a_danger_that_was_a_mistake_is_corrected(client: FlaskClient) -> None:
    address = opened(client, "sparks from the oven")
    page = Page(client.get(address))
    assert "Say aloud now" in page.text
    wrong = next(f for f in page.forms if f.action.endswith("/correct") and f.fields["reads"] == "hazard.sparks")
    assert send(client, wrong, value="no").status_code == 303
    assert "Say aloud now" not in Page(client.get(address)).text


def test_a_technician_takes_over(client: FlaskClient) -> None:
    address = opened(client, "bake is cold but broil works")
    page = said(client, address, text="no")
    send(client, page.form("/role"), role="technician")
    page = said(client, address, text="power off and proved dead")
    assert "Before you measure" in page.text or "Other questions" in page.text
    judged = client.get(address + "?ask=ohms.bake&reading=OL").get_data(as_text=True)
    assert "A sound appliance" in judged
    assert re.search(r"<strong>OL \(open line\)</strong>: open", judged)
    assert judged.count("<strong>fits</strong>") >= 1
    bare = client.get(address + "?ask=ohms.bake&reading=22.3").get_data(as_text=True)
    assert "22.3 ohm" in bare
    wrong = client.get(address + "?ask=ohms.bake&reading=blue")
    assert wrong.status_code == 422
    assert "reading:" in wrong.get_data(as_text=True)


def test_a_caller_is_shown_no_test_for_a_technician(client: FlaskClient) -> None:
    address = opened(client, "oven cold, clock on")
    page = client.get(address + "?ask=ohms.bake&reading=OL").get_data(as_text=True)
    assert "Before you measure" not in page
    assert "not open now" in page


def test_the_circuits_are_drawn_and_listed(client: FlaskClient) -> None:
    page = client.get(opened(client, "no burner heats, clock is on")).get_data(as_text=True)
    assert "Leg L1: alive." in page
    assert "Left front unit: dead." in page
    assert page.count('class="circuit dead"') == 5  # four units, one of them with two rings
    assert "clock or display" in page.partition("Proved by")[2].partition("</table>")[0]


@pytest.mark.parametrize("appliance", ["coil_range", "wall_oven", "double_wall_oven", "radiant_cooktop"])
def test_every_configuration_has_a_page(client: FlaskClient, appliance: str) -> None:
    text = "the left front is dead" if "cooktop" in appliance or "coil" in appliance else "the oven is cold"
    page = client.get(opened(client, text, appliance=appliance))
    assert page.status_code == 200
    assert '<svg class="drawing"' in page.get_data(as_text=True)


def test_what_is_typed_stays_text_everywhere(client: FlaskClient) -> None:
    address = opened(client, f"left front is dead {EVIL}", reference=EVIL)
    page = said(client, address, text=f"the oven works {EVIL}")
    send(client, page.form("/outcome"), found=EVIL, fixed="no")
    for path in (address, "/desk", f"{address}?ask={EVIL}&reading={EVIL}"):
        html = client.get(path.replace("#", "%23")).get_data(as_text=True)
        assert "<script>alert" not in html
        assert "onfocus='x'" not in html
        assert "49" not in re.findall(r"<h1>.*?</h1>", html)[0]
    assert client.get("/desk").status_code == 200  # the table is there


@pytest.mark.parametrize(
    ("ending", "changed", "told"),
    [
        ("/say", {"text": "  "}, "is empty"),
        ("/say", {"reads": "nothing", "answer": "x"}, "no fact named"),
        ("/say", {"reads": "display", "answer": "<b>"}, "is not a value of display"),
        ("/say", {"once": "short"}, "open the page anew"),
        ("/say", {"version": "x"}, "open the page anew"),
        ("/outcome", {"fault": "no.such", "fixed": "yes"}, "the book has no"),
        ("/outcome", {"found": "a loose wire", "fixed": "no", "minutes": "soon"}, "write a number of minutes"),
        ("/role", {"role": "cook"}, "write one of caller, desk, technician"),
        ("/strike", {"fact": "9.9"}, "no fact 9.9"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(
    client: FlaskClient, ending: str, changed: dict[str, str], told: str
) -> None:
    page = Page(client.get(opened(client, "left front burner is dead")))
    response = send(client, page.form(ending), **changed)
    assert response.status_code == 422
    assert told in Page(response).text


def test_a_call_of_nobody(client: FlaskClient) -> None:
    for address in ("/desk/cases/x", "/desk/cases/" + "A" * 24):
        assert client.get(address).status_code == 404
        assert "No such call" in client.get(address).get_data(as_text=True)


def test_the_page_says_nothing_stale(client: FlaskClient) -> None:
    address = opened(client, "the oven is cold but the clock is on")
    first = Page(client.get(address))
    other = re.search(r'href="([^"]+ask=[^"]+)"', client.get(address).get_data(as_text=True))
    assert other is not None
    chosen = Page(client.get(html.unescape(other[1])))
    assert "Any shock" in first.text.partition("Understood")[0]
    assert "Next: Any shock" not in first.text.partition("The call so far")[0]
    assert "Next: Any shock" not in chosen.text.partition("The call so far")[0]
    assert "1 to 9 answer" in first.text
    danger = Page(client.get(opened(client, "flames inside the oven behind the panel")))
    assert "1 to 9 answer" not in danger.text  # nothing is asked, so no key answers
    stopped = Page(client.get(opened(client, "sparks from the oven")))
    assert "Next: ask, from memory only" in stopped.text
    assert "Say this now" not in stopped.text.partition("The call so far")[0]  # said once, in the banner


def test_the_parts_put_in_are_in_the_outcome(client: FlaskClient, expert: Expert) -> None:
    address = opened(client, "the hot light stays on over the left front burner, and it is stone cold")
    said(client, address, text="no")
    form = Page(client.get(address)).form("/outcome")
    part = re.search(r'name="parts" value="([^"]+)"', client.get(address).get_data(as_text=True))
    assert part is not None
    assert send(client, form, fixed="yes", found="its limiter", parts=part[1]).status_code == 303
    page = Page(client.get(address)).text
    title = expert.book.parts[part[1]].title
    assert f"Parts: {title}. Fixed." in page
    assert "Closed." in page


def test_a_call_of_sixty_messages_is_shown_whole(client: FlaskClient) -> None:
    address = opened(client, "the oven is cold")
    for number in range(60):
        page = said(client, address, text=f"the clock is {'dead' if number % 2 else 'on'}")
    assert history(page) >= 60
    assert page.text.count("replaced") >= 58


def test_a_long_note_is_refused_and_kept(client: FlaskClient) -> None:
    address = opened(client, "the oven is cold")
    long = "and then it went cold again " * 200
    response = send(client, Page(client.get(address)).form("/say"), text=long)
    assert response.status_code == 422
    assert "Send it in parts" in response.get_data(as_text=True)
    assert long.strip() in response.get_data(as_text=True)
