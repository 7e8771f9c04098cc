"""The studio's settings."""

from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import studios
from server.services.studios import StudioForm, zone_names
from server.web.deps import Page, Posted
from server.web.forms import FormState
from server.web.language.catalogue import LANGUAGES
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save

router = APIRouter(prefix="/studio")
CONFIDENCES = (
    (50, "As likely as not"),
    (75, "Three times in four"),
    (80, "Four times in five"),
    (90, "Nine times in ten"),
    (95, "Nineteen times in twenty"),
)


@router.get("")
def settings(page: Page) -> Response:
    with page.db.read() as session:
        studio = studios.get(session, page.actor)
        form = FormState.of(studios.public(studio))
    return _form(studio.confidence_pct).show(page, form)


@router.post("")
def change(page: Page, posted: Posted) -> Response:
    with page.db.read() as session:
        stored_pct = studios.get(session, page.actor).confidence_pct

    def act(session: Session, command: Any) -> Done:
        studios.update(session, page.actor, command)
        return Done("Changed the studio's settings", "/studio")

    return save(page, posted, Reads(StudioForm), _form(stored_pct), act)


@router.post("/zone")
def zone(page: Page, posted: Posted) -> Response:
    """Take over the time zone of the painter's own device, offered while the wall is bare."""
    time_zone = str(posted.get("time_zone", ""))[:64]

    def act(session: Session) -> Done:
        studios.set_zone(session, page.actor, time_zone)
        return Done(f"Days are counted in {time_zone}", "/")

    return change_by_button(page, posted, act, "/studio")


def _form(stored_pct: int) -> FormPage:
    known = [(str(pct), words, f"{pct} %") for pct, words in CONFIDENCES]
    if stored_pct not in {pct for pct, _ in CONFIDENCES}:
        known.append((str(stored_pct), "As it is set", f"{stored_pct} %"))
    languages = list(LANGUAGES.items())
    given = {"confidences": known, "languages": languages}
    return FormPage("studio/page.html", lambda: given | {"zones": zone_names()})
