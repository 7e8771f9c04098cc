"""The glossary as a page; the same words stand behind each term on a tap (``term`` in templates)."""

from fastapi import APIRouter
from starlette.responses import Response

from server.web.deps import Page
from server.web.glossary import FAMILIES

router = APIRouter()


@router.get("/glossary")
def glossary(page: Page) -> Response:
    return page.render("glossary/page.html", {"families": FAMILIES})
