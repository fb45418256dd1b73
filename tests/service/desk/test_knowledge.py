"""The book's pages: everything in it is there, every link leads somewhere, ids that do not exist are refused."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from rules import Expert


def links(client: FlaskClient, path: str) -> list[str]:
    return re.findall(r'href="(/desk/[^"#]*)', client.get(path).get_data(as_text=True))


def test_every_fault_and_rule_is_listed(client: FlaskClient, expert: Expert) -> None:
    assert {f"/desk/faults/{name}" for name in expert.book.faults} <= set(links(client, "/desk/faults"))
    assert {f"/desk/rules/{name}" for name in expert.book.rules} <= set(links(client, "/desk/rules"))
    tests = client.get("/desk/tests").get_data(as_text=True)
    assert all(f'id="{name}"' in tests for name in expert.book.tests)


def test_every_rule_has_a_page(client: FlaskClient, expert: Expert) -> None:
    for name, rule in expert.book.rules.items():
        response = client.get(f"/desk/rules/{name}")
        assert response.status_code == 200, name
        assert all(f"/desk/faults/{fault}" in response.get_data(as_text=True) for fault in rule.points_to)


@pytest.mark.parametrize("part", range(4))
def test_a_share_of_the_faults_has_pages_whose_links_lead_somewhere(
    client: FlaskClient, expert: Expert, part: int
) -> None:
    for name in list(expert.book.faults)[part * 9 :: 40]:
        html = client.get(f"/desk/faults/{name}").get_data(as_text=True)
        assert expert.book.faults[name].fault in html
        for test in re.findall(r'href="/desk/tests#([^"]*)', html):
            assert test in expert.book.tests
        for rule in re.findall(r'href="/desk/rules/([^"]*)', html):
            assert rule in expert.book.rules


@pytest.mark.parametrize("path", ["/desk/faults/supply.leg_l3", "/desk/rules/one-leg-lots", "/desk/rules/<b>"])
def test_what_the_book_has_not(client: FlaskClient, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 404
    assert "The book has no" in response.get_data(as_text=True)
    assert "<b>" not in response.get_data(as_text=True)


def test_a_query_that_no_page_has_is_refused_on_a_page(client: FlaskClient) -> None:
    response = client.get("/desk/faults?page=2")
    assert response.status_code == 422
    assert response.mimetype == "text/html"
