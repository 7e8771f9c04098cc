"""Panels: the list, the page of one, its form, archive and back."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.science.reference import find_pigment
from server.services import board, history, on_panel, overrides, panels, places, sitting_ends
from server.services.board.facts import Standing
from server.services.panels import PanelCreate, PanelUpdate
from server.web.deps import Page, PageRequest, Posted
from server.web.form_values import clean_text
from server.web.forms import FormState, parse
from server.web.pages.changes import Done, FormPage, Typed, change_by_button, change_by_form, with_field
from server.web.pages.panel_context import PanelPage, PanelRecords
from server.web.standing_words import STANDING_WORDS
from server.web.today_cards import card_of

router = APIRouter()

# "Roughly how old" of a ground, in days; a date that is given says more and wins.
GROUND_AGES_D = {
    "today": 0,
    "days": 3,
    "week": 7,
    "fortnight": 14,
    "month": 30,
    "quarter": 91,
    "half_year": 182,
    "year": 365,
}
AGE = "_ground_age"
GROUND_WHITES = ("PW1", "PW4", "PW5", "PW6")
NEW_PANEL = {"support": "hardboard", "ground_kind": "acrylic", "ground_surface": "matte", AGE: "month"}


@router.get("/panels")
def index(page: Page, state: str = "", q: str = "") -> Response:
    """All panels, or those that stand somewhere (``state``) or have ``q`` in their title."""
    with page.db.read() as session:
        wall = board.today(session, page.actor, page.now, page.zone)
        archived = panels.all_archived(session, page.actor)
    standing = {group.value: list(hung) for group, hung in wall.groups.items()}
    every = sorted((panel for hung in standing.values() for panel in hung), key=lambda panel: panel.title.casefold())
    groups: dict[str, list[Any]] = {
        **{each.value: [panel for panel in every if panel.standing is each] for each in Standing},
        "at_risk": sorted(wall.at_risk, key=lambda panel: panel.title.casefold()),
        "archived": sorted(archived, key=lambda panel: panel.title.casefold()),
    }
    wanted = clean_text(q).strip()[:200]
    shown = [panel for panel in groups.get(state, every) if wanted.casefold() in panel.title.casefold()]
    context = {
        "panels": shown if state == "archived" else [card_of(panel, wall.moment) for panel in shown],
        "standings": [(each.value, word) for each, word in STANDING_WORDS.items()],
        "counts": {"all": len(every)} | {name: len(hung) for name, hung in groups.items()},
        "state": state if state in groups else "",
        "q": wanted,
    }
    return page.render("panels/list.html", context)


@router.get("/panels/new")
def new(page: Page) -> Response:
    context = _form_context(page, None)
    start = NEW_PANEL | {"place_uid": context["places"][0][0] if context["places"] else ""}
    return page.render("panels/new.html", {**context, "form": FormState(values=start)})


@router.post("/panels/new")
def add(page: Page, posted: Posted) -> Response:
    command, form = parse(with_ground_date(posted, page.today), PanelCreate, zone=page.zone)
    _show_typed_date(form, posted)
    shown = FormPage("panels/new.html", lambda: _form_context(page, None))
    if command is None:
        return shown.show(page, form, 422)

    def act(session: Session) -> Done:
        panel = panels.create(session, page.actor, command)
        return Done(f"Added the panel “{panel.title}”", f"/panels/{panel.uid}")

    return change_by_form(page, Typed(posted, form), shown, act)


@router.get("/panels/{uid}")
def show(page: Page, uid: str, scale: str = "") -> Response:
    """The page of a panel; ``scale`` "log" draws thin layers larger."""
    with page.db.read() as session:
        facts = board.panel_page(session, page.actor, uid, page.now, page.zone)
        around = PanelRecords(
            archived_layers=on_panel.archived_layers(session, page.actor, panels.get(session, page.actor, uid)),
            changes=history.of_panel(session, page.actor, uid),
            overruled=overrides.on_panel(session, page.actor, uid),
            sitting=sitting_ends.open_sitting(session, page.actor, facts.moment),
            elsewhere=[place for place in places.all_open(session, page.actor) if place.uid != facts.place_uid],
            may_purge=page.actor.may("purge"),
        )
    return page.render("panels/panel.html", PanelPage.of(facts, scale == "log", around))


@router.get("/panels/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    context = _form_context(page, uid)
    with page.db.read() as session:
        stored = panels.public(session, panels.get(session, page.actor, uid))
    return page.render("panels/edit.html", {**context, "form": FormState.of(stored, page.zone)})


@router.post("/panels/{uid}/edit")
def save(page: Page, posted: Posted, uid: str) -> Response:
    context = _form_context(page, uid)
    command, form = parse(with_ground_date(posted, page.today), PanelUpdate, zone=page.zone)
    _show_typed_date(form, posted)
    shown = FormPage("panels/edit.html", lambda: context)
    if command is None:
        return shown.show(page, form, 422)

    def act(session: Session) -> Done:
        panel = panels.update(session, page.actor, uid, command)
        return Done(f"Corrected the panel “{panel.title}”", f"/panels/{uid}")

    return change_by_form(page, Typed(posted, form), shown, act)


@router.post("/panels/{uid}/finish")
def finish(page: Page, posted: Posted, uid: str) -> Response:
    """One tap where nothing more is planned; the day can be corrected in the panel's form."""

    def act(session: Session) -> Done:
        panel = panels.finish(session, page.actor, uid)
        return Done(f"Finished “{panel.title}”", f"/panels/{uid}")

    return change_by_button(page, posted, act, f"/panels/{uid}")


@router.post("/panels/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        panel = panels.archive(session, page.actor, uid)
        return Done(f"Archived the panel “{panel.title}”", "/panels")

    return change_by_button(page, posted, act, f"/panels/{uid}")


@router.post("/panels/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        panel = panels.restore(session, page.actor, uid)
        return Done(f"Brought back the panel “{panel.title}”", f"/panels/{uid}")

    return change_by_button(page, posted, act, f"/panels/{uid}")


def with_ground_date(posted: FormData, today: date) -> FormData:
    """The form with a ground's date worked out from "roughly how old", where no date was typed."""
    age, typed = posted.get(AGE), posted.get("ground_on")
    days = GROUND_AGES_D.get(age) if isinstance(age, str) else None
    if days is None or (isinstance(typed, str) and typed.strip()):
        return posted
    return with_field(posted, "ground_on", (today - timedelta(days=days)).isoformat())


def _show_typed_date(form: FormState, posted: FormData) -> None:
    """A date that was worked out is not shown as if it had been typed."""
    typed = posted.get("ground_on")
    if not (isinstance(typed, str) and typed.strip()):
        form.values["ground_on"] = ""


def _form_context(page: PageRequest, uid: str | None) -> Mapping[str, Any]:
    """Choices and addresses of the form; of a stored panel also its title. Raises ``NotFound``."""
    with page.db.read() as session:
        panel = panels.get(session, page.actor, uid) if uid else None
        open_places = places.all_open(session, page.actor)
        # A place that was archived since stays the panel's place until another is chosen.
        here = [] if panel is None else [p for p in places.all_archived(session, page.actor) if p.id == panel.place_id]
        choices = [(place.uid, place.name) for place in [*open_places, *here]]
    return {
        "title": panel.title if panel else "",
        "action": f"/panels/{uid}/edit" if uid else "/panels/new",
        "back": f"/panels/{uid}" if uid else "/panels",
        "is_new": uid is None,
        "places": choices,
        "ground_pigments": ground_pigments(),
    }


def ground_pigments() -> list[tuple[str, str]]:
    """The whites an oil ground may be made with, by Colour Index name."""
    return [(name, f"{find_pigment(name).label} ({name})") for name in GROUND_WHITES]
