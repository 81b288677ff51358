"""A mishap leads back to the page it came from, and to no other host."""

from __future__ import annotations


def mishap(client, came: str) -> str:
    answer = client.get("/steps/none-such", headers={"referer": came, "accept": "text/html"})
    assert answer.status_code >= 400
    return answer.text


def test_a_mishap_leads_back_to_the_page_it_came_from(client) -> None:
    shown = mishap(client, f"{client.base_url}/planning?month=2026-11")
    assert 'href="/planning?month=2026-11"' in shown


def test_a_mishap_leads_to_no_other_host(client) -> None:
    for came in (
        "https://elsewhere.example/planning",
        f"{client.base_url}//elsewhere.example/planning",
        "javascript:alert(1)",
        "",
    ):
        shown = mishap(client, came)
        assert "elsewhere" not in shown and "javascript" not in shown
        assert 'href="/steps">Back<' in shown  # the page that the address lies under
