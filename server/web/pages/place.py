"""One place: what its instruments said, how fast it dries, and what was read there."""

from collections.abc import Mapping

from fastapi import APIRouter
from starlette.responses import Response

from server.services import places
from server.services.readings import batches
from server.web.deps import Page, PageRequest
from server.web.forms import FormState

router = APIRouter()


@router.get("/room/{uid}")
def show(page: Page, uid: str) -> Response:
    return place_page(page, uid)


def place_page(
    page: PageRequest, uid: str, forms: Mapping[str, FormState] | None = None, status: int = 200
) -> Response:
    """The page of a place, with the forms that were sent and came back."""
    with page.db.read() as session:
        place = places.get(session, page.actor, uid)
        found = batches.of_place(session, page.actor, place)
    given = forms or {}
    context = {
        "place": place,
        "batches": found,
        "reading": given.get("reading", FormState()),
        "sensor": given.get("sensor", FormState()),
    }
    return page.render("room/place.html", context, status)
