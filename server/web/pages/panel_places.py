"""Where a panel is and was: put it into another place with one tap, correct a move, take it back."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import panel_moves, panels, places
from server.services.panel_moves import MoveCreate, MoveUpdate
from server.store.tables import Panel, Place
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save

router = APIRouter()


@router.get("/panels/{uid}/places")
def show(page: Page, uid: str) -> Response:
    return StaysPage("panels/places.html", dict, uid).show(page, FormState())


@router.post("/panels/{uid}/places")
def move(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, command: Any) -> Done:
        made = panel_moves.create(session, page.actor, uid, command)
        done = _done(session, "Moved", panel_moves.panel_of(session, made), made.place_id)
        return Done(done.label, done.location.replace("/places", "#where"))

    return save(page, posted, Reads(MoveCreate), StaysPage("panels/places.html", dict, uid), act)


@router.get("/moves/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    with page.db.read() as session:
        stored = panel_moves.public(session, panel_moves.get(session, page.actor, uid))
    return MovePage("panels/move.html", dict, uid).show(page, FormState.of(stored, page.zone))


@router.post("/moves/{uid}/edit")
def change(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.read() as session:
        panel_moves.get(session, page.actor, uid)

    def act(session: Session, command: Any) -> Done:
        changed = panel_moves.update(session, page.actor, uid, command)
        return _done(session, "Corrected a move:", panel_moves.panel_of(session, changed), changed.place_id)

    return save(page, posted, Reads(MoveUpdate), MovePage("panels/move.html", dict, uid), act)


@router.post("/moves/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        gone = panel_moves.archive(session, page.actor, uid)
        return _done(session, "Took back a move:", panel_moves.panel_of(session, gone), gone.place_id)

    return change_by_button(page, posted, act, "/panels")


@router.post("/moves/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        back = panel_moves.restore(session, page.actor, uid)
        return _done(session, "Moved after all:", panel_moves.panel_of(session, back), back.place_id)

    return change_by_button(page, posted, act, "/panels")


def _done(session: Session, what: str, panel: Panel, place_id: int) -> Done:
    place = session.get_one(Place, place_id)
    return Done(f"{what} “{panel.title}” to “{place.name}”", f"/panels/{panel.uid}/places")


@dataclass(frozen=True, slots=True)
class StaysPage(FormPage):
    """The places of a panel, with the form of a move."""

    uid: str = ""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        with page.db.read() as session:
            panel = panels.get(session, page.actor, self.uid)
            context = {
                "form": form,
                "panel": panel,
                "stays": panel_moves.stays(session, panel),
                "places": _open_places(session, page),
            }
        return page.render(self.template, context, status)


@dataclass(frozen=True, slots=True)
class MovePage(FormPage):
    """One move, to be corrected."""

    uid: str = ""

    def show(self, page: PageRequest, form: FormState, status: int = 200) -> Response:
        with page.db.read() as session:
            move = panel_moves.get(session, page.actor, self.uid)
            panel = panel_moves.panel_of(session, move)
            context = {
                "form": form,
                "move": move,
                "panel": panel,
                "places": _open_places(session, page, move.place_id),
            }
        return page.render(self.template, context, status)


def _open_places(session: Session, page: PageRequest, keeps: int | None = None) -> list[tuple[str, str]]:
    put_away = [place for place in places.all_archived(session, page.actor) if place.id == keeps]
    return [(place.uid, place.name) for place in (*places.all_open(session, page.actor), *put_away)]
