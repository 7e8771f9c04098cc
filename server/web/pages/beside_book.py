"""One layer's dates by the book and by what the studio's touch tests taught: words, a picture, and why they differ."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from server.formats.drawings_beside import beside_picture
from server.science.results import FilmState
from server.services.board.beside_book import BesideBook, beside_book
from server.web import beside_words
from server.web.deps import Page

router = APIRouter()
SOFT = (FilmState.WET, FilmState.TACKY)


@router.get("/layers/{uid}/book")
def beside(page: Page, uid: str) -> Response:
    """Both ranges side by side."""
    with page.db.read() as session:
        found = beside_book(session, page.actor, uid, page.now, page.zone)
    return page.render("beside_book/page.html", _context(page, found))


def _context(page: Page, found: BesideBook) -> dict[str, Any]:
    presses = [(day, state in SOFT) for day, state in found.presses if day > 0]
    return {
        "found": found,
        "headline": beside_words.headline(found, page.today),
        "difference": beside_words.difference(found),
        "lines": beside_words.shift_lines(found),
        "chosen": beside_words.chosen_words(found),
        "picture": beside_picture(found.book.stages, found.yours.stages, presses),
        "then": None if found.then is None else beside_picture(found.then[0].stages, found.then[1].stages, presses),
    }
