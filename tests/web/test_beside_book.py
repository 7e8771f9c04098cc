"""One layer's dates by the book beside the studio's own: the same as every page shows under either choice."""

import re
from html import unescape
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.formats.drawings_beside import SHOWN, beside_picture
from server.science.results import Stage, StageRange
from server.services.board.beside_book import beside_book
from server.store.db import Database
from server.web import beside_words
from tests.web.conftest import NOW
from tests.web.pages_of_records import NOBODY, Easel, make_easel
from tests.web.test_every_route import check_page
from tests.web.test_learning import choose, pressed, text_of


@pytest.fixture
def easel(client: TestClient, app: FastAPI, db: Database) -> Easel:
    return make_easel(client, app, db)


def rows_of(page: str) -> dict[str, list[str]]:
    """The cells of the first table with a row a stage, by the stage's word."""
    found: dict[str, list[str]] = {}
    for row in re.findall(r"<tr>\s*<th scope=\"row\">(.*?)</tr>", page, re.DOTALL):
        cells = [" ".join(unescape(re.sub("<[^>]+>", " ", cell)).split()) for cell in re.split(r"</t[hd]>", row)]
        found.setdefault(cells[0], [cell for cell in cells[1:] if cell])
    return {name: cells for name, cells in found.items() if "set-to-touch" in name or "dry-" in name}


def taught(easel: Easel) -> tuple[str, str]:
    """A studio that has learned of a slow layer; a layer that is drying since yesterday."""
    pressed(easel, "Slow", 40, (8, "wet"), (14, "tacky"), (16, "touch_dry"))
    return pressed(easel, "Drying", 2, (1, "wet"))


def test_each_column_is_what_the_panels_page_tells_under_that_choice(easel: Easel):
    panel, layer = taught(easel)
    page = easel.client.get(f"{layer}/book").text
    check_page(page)
    both = rows_of(page)
    assert len(both) == 4
    yours = rows_of(easel.client.get(panel).text)
    choose(easel, "off")
    book = rows_of(easel.client.get(panel).text)
    assert both == {name: [book[name][0], yours[name][0]] for name in both}
    assert book != yours
    # With the book's dates chosen both stand there still.
    page = easel.client.get(f"{layer}/book").text
    assert rows_of(page) == both
    assert "Every other page shows the book’s dates, as you have chosen" in unescape(page)
    choose(easel, "frozen")
    assert "until you chose to learn no more" in easel.client.get(f"{layer}/book").text


def test_words_picture_and_reasons_stand_there(easel: Easel):
    _, layer = taught(easel)
    text = text_of(easel.client, f"{layer}/book")
    assert re.search(r"By the book it is touch-dry likely .+; by your own tests likely .+\.", text)
    assert re.search(r"Your tests make it \d+ % slower than the book has it\. Its range is \d+ % narrower\.", text)
    assert "What 4 tests of 2 layers taught" in text and "the place “Easel room”" in text
    assert "When it went on" in text
    page = easel.client.get(f"{layer}/book").text
    assert page.count("<rect") == 2 * 2 * len(SHOWN)
    assert re.search(r'class="film-wet" d="M', page)
    assert f'href="{layer}/book"' in easel.client.get(taught_panel(page)).text


def taught_panel(page: str) -> str:
    [panel, *_] = re.findall(r'href="(/panels/[\w-]+)#layer-', page)
    return panel


def test_what_moved_it_multiplies_to_the_whole(easel: Easel, db: Database):
    _, layer = taught(easel)
    with db.read() as session:
        found = beside_book(session, easel.actor, layer.rpartition("/")[2], NOW, ZoneInfo("UTC"))
    shift = found.shift
    assert shift is not None
    parts = sum(by for _, by in shift.effects) + shift.hardly + shift.change + shift.own
    assert shift.whole == pytest.approx(parts, abs=1e-12)
    book, yours = (told.stages[Stage.DRY_TO_TOUCH].p50_d for told in (found.book, found.yours))
    assert (yours > book) == (shift.whole > 0)


def test_a_planned_layer_is_laid_on_the_same_day_both_ways(easel: Easel):
    pressed(easel, "Slow", 40, (8, "wet"), (14, "tacky"), (16, "touch_dry"))
    layer = easel.layer(easel.panel(title="To come", _ground_age="year"))
    text = text_of(easel.client, f"{layer}/book")
    assert "as if painted" in text and "When it went on" not in text
    assert re.search(r"Your tests make it \d+ % slower", text)


def test_with_nothing_learned_both_are_the_books(easel: Easel):
    _, layer = pressed(easel, "Alone", 2)
    text = text_of(easel.client, f"{layer}/book")
    assert "Nothing is learned yet, so your dates are the book’s: touch-dry likely" in text
    assert "Why they differ" not in text
    assert all(cells[0] == cells[1] for cells in rows_of(easel.client.get(f"{layer}/book").text).values())


def test_a_layer_without_a_date_says_so_and_one_that_is_not_there_is_not_found(easel: Easel):
    assert easel.client.get(f"/layers/{NOBODY}/book").status_code == 404
    layer = easel.layer(easel.panel(), material="acrylic", **{"mixes-0-mix_uid": ""})
    assert "No date can be given for this layer" in text_of(easel.client, f"{layer}/book")
    easel.client.post(f"{layer}/archive", data={})
    assert easel.client.get(f"{layer}/book").status_code == 404


def spans(middle_d: float, width: float) -> dict[Stage, StageRange]:
    days = (middle_d / width / 1.2, middle_d / width, middle_d, middle_d * width, middle_d * width * 1.2)
    return {stage: StageRange(*days) for stage in SHOWN}


def test_the_later_range_stands_further_right_and_the_wider_one_is_wider():
    picture = beside_picture(spans(5, 2.0), spans(10, 1.3), [(2.0, True), (12.0, False)])
    assert picture is not None
    for each in picture.stages:
        book, yours = each.bars
        assert book.is_book and not yours.is_book
        assert yours.middle_x > book.middle_x and book.width > yours.width
        assert book.x >= 44 and yours.x + yours.width <= picture.width
    touch = next(each for each in picture.stages if each.stage is Stage.DRY_TO_TOUCH)
    assert [mark.kind for mark in touch.marks] == ["soft", "dry"]
    assert beside_picture({}, {}, []) is None


@pytest.mark.parametrize(
    ("book", "yours", "words"),
    [
        (2.0, 1.3, "Its range is 62 % narrower."),
        (1.3, 2.0, "wider."),
        (1.5, 1.5, "as wide as the book’s"),
    ],
)
def test_the_width_is_said_whichever_way_it_goes(book: float, yours: float, words: str):
    told: Any = SimpleNamespace(
        shift=SimpleNamespace(whole=0.0),
        book=SimpleNamespace(stages=spans(5, book)),
        yours=SimpleNamespace(stages=spans(5, yours)),
    )
    said = beside_words.difference(told)
    assert words in said and "leave the middle of it where the book has it" in said


def test_a_correction_is_named_only_where_nobody_pressed():
    shift = SimpleNamespace(effects=(("studio", 0.1),), change=0.0, hardly=0.0, own=0.05)
    told: Any = SimpleNamespace(shift=shift, names={}, presses=((1.0, "wet"),))
    lines = beside_words.shift_lines(told)
    assert [(line.what, line.told) for line in lines] == [
        ("the studio as a whole", "11 % slower"),
        ("its own tests", "5 % slower"),
    ]
    told.presses = ()
    assert beside_words.shift_lines(told)[1].what == "a correction for how earlier dates have run"
