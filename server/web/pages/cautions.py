"""Cautions: what is usually said about rags, solvent, pigments and waste, and who decides."""

from fastapi import APIRouter
from starlette.responses import Response

from server.web.deps import Page

router = APIRouter()


@router.get("/cautions")
def cautions(page: Page) -> Response:
    return page.render("cautions/page.html")
