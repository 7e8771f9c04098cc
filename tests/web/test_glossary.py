"""The glossary: every word once and plainly told, and behind a word of the trade on a tap."""

import re

from starlette.testclient import TestClient

from server.web.glossary import FAMILIES, TERMS


def test_every_word_is_told_once_in_a_sentence_or_two(client: TestClient):
    page = client.get("/glossary").text
    terms = [term for _, family in FAMILIES for term in family]
    assert len(terms) == len(TERMS)
    for term in terms:
        assert page.count(f'<div id="{term.key}">') == 1
        assert term.told.endswith(".")
        assert 20 < len(term.told) < 170, term.key


def test_a_word_has_its_meaning_on_a_tap_without_script(client: TestClient):
    """The popover of HTML needs none: a button names the text that it opens."""
    client.post("/shelf/starter", data={"command_key": "starter-0123456789"})
    shelf = client.get("/mixing").text
    paint = re.search(r'<option value="(paint:[^"]+)"', shelf)
    assert paint
    page = client.get("/mixing", params={"parts-0-item": paint[1], "parts-0-parts": "1"}).text
    opened = re.findall(r'popovertarget="([^"]+)"', page)
    assert len(opened) == len(set(opened)) >= 8
    for found in opened:
        assert re.search(rf'id="{found}" popover>\s*<strong>', page)
    for key in re.findall(r'href="/glossary#([^"]+)"', page):
        assert key in TERMS
