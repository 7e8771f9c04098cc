"""Saved mixes: a list, one mix as it is, and the forms to keep and to change one."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.swatch import UNKNOWN, mix_swatch
from server.services import hazards, mixes, mixing, panels
from server.services.access import Actor
from server.services.board import moment_of
from server.services.errors import Invalid
from server.services.mixes import METAL_WORDS, MixCreate, MixUpdate, PartShown
from server.services.mixing import MixingAnswer, MixingQuestion
from server.services.recipes import MixBook
from server.store.tables import Mix
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.mix_choices import on_shelf
from server.web.pages.record_forms import Reads, save

router = APIRouter(prefix="/mixes")
LONGEST_TYPED = 20_000  # of a layer's form, as the query of an address


@dataclass(frozen=True, slots=True)
class MixShown:
    """One mix in a list."""

    uid: str
    label: str
    swatch: str
    parts: tuple[PartShown, ...]
    hazards: tuple[str, ...]


@router.get("")
def all_of_them(page: Page, archived: bool = False) -> Response:
    with page.db.read() as session:
        records = mixes.all_archived(session, page.actor) if archived else mixes.all_open(session, page.actor)
        shown = _shown(session, page.actor, records)
    return page.render("mixes/list.html", {"mixes": shown, "is_archived": archived})


@router.get("/new")
def new(page: Page, panel: str = "", typed: str = "") -> Response:
    """With ``panel``, the uid of a panel, keeping the mix leads to a new layer of it; ``typed`` is what the form
    of that layer held, as the query of an address."""
    return _form(page, panel=panel, typed=_query(typed)).show(page, FormState())


@router.post("/new")
def add(page: Page, posted: Posted, panel: str = "", typed: str = "") -> Response:
    query = _query(typed)

    def act(session: Session, command: Any) -> Done:
        mix = mixes.create(session, page.actor, command)
        wanted = f"/panels/{panels.get(session, page.actor, panel).uid}/layers/new?mix={mix.uid}" if panel else ""
        return Done(f"Kept the mix “{mix.label}”", wanted or f"/mixes/{mix.uid}")

    answer = save(page, posted, Reads(MixCreate), _form(page, panel=panel, typed=query), act)
    if answer.status_code == 303 and panel and query:  # the history keeps the short address
        answer.headers["location"] += f"&{query}"
    return answer


def _query(typed: str) -> str:
    """The query of an address, written anew so that nothing else can be in it."""
    return urlencode(parse_qsl(typed[:LONGEST_TYPED]))


@router.get("/{uid}")
def one(page: Page, uid: str) -> Response:
    with page.db.read() as session:
        mix = mixes.get(session, page.actor, uid)
        shown = _shown(session, page.actor, [mix])[0]
        answer = _worked_out(session, page, mix)
    context = {"mix": shown, "notes": mix.notes, "answer": answer, "is_archived": mix.archived_at is not None}
    return page.render("mixes/mix.html", context)


@router.get("/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    with page.db.read() as session:
        mix = mixes.get(session, page.actor, uid)
        form = FormState.of(mixes.public(session, mix))
    return _form(page, mix).show(page, form)


@router.post("/{uid}/edit")
def change(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.read() as session:
        mix = mixes.get(session, page.actor, uid)

    def act(session: Session, command: Any) -> Done:
        changed = mixes.update(session, page.actor, uid, command)
        return Done(f"Changed the mix “{changed.label}”", f"/mixes/{uid}")

    return save(page, posted, Reads(MixUpdate), _form(page, mix), act)


@router.post("/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        mix = mixes.archive(session, page.actor, uid)
        return Done(f"Archived the mix “{mix.label}”", "/mixes")

    return change_by_button(page, posted, act, f"/mixes/{uid}")


@router.post("/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        mix = mixes.restore(session, page.actor, uid)
        return Done(f"Brought back the mix “{mix.label}”", f"/mixes/{uid}")

    return change_by_button(page, posted, act, f"/mixes/{uid}")


def _form(page: PageRequest, mix: Mix | None = None, panel: str = "", typed: str = "") -> FormPage:
    """The form of a new mix, or of ``mix``; a new one may be wanted for a ``panel``, by its uid, whose layer's form
    held ``typed``."""

    def context() -> dict[str, Any]:
        with page.db.read() as session:
            wanted = f"?panel={panels.get(session, page.actor, panel).uid}" if panel else ""
            along = f"&{urlencode({'typed': typed})}" if panel and typed else ""
            held = mixes.held_by(session, mix) if mix else []
            return {
                "items": on_shelf(session, page.actor, held),
                "metals": list(METAL_WORDS.items()),
                "mix": mix,
                "action": f"/mixes/{mix.uid}/edit" if mix else f"/mixes/new{wanted}{along}",
                "starter_back": f"/mixes/new{wanted}",
                "back": f"/panels/{panel}/layers/new?{typed}" if panel else f"/mixes/{mix.uid}" if mix else "/mixes",
            }

    return FormPage("mixes/form.html", context)


def _shown(session: Session, actor: Actor, records: list[Mix]) -> list[MixShown]:
    """Mixes as they are listed, in a number of queries that does not grow with them."""
    book = MixBook.load(session, actor.studio_id)
    parts = mixes.described(session, records)
    shown = []
    for mix in records:
        recipe = book.mixes[mix.id or 0].recipe
        kinds = hazards.kinds_of_mix(recipe) if recipe else ()
        swatch = mix.swatch or (mix_swatch(recipe) if recipe else UNKNOWN)
        shown.append(MixShown(mix.uid, mix.label, swatch, tuple(parts[mix.id or 0]), kinds))
    return shown


def _worked_out(session: Session, page: PageRequest, mix: Mix) -> MixingAnswer | None:
    """The mix at the usual thickness in the first room; None when it holds nothing that dries."""
    stored = mixes.public(session, mix)
    question = MixingQuestion(
        label=mix.label,
        parts=stored.parts,
        driers=stored.driers,
        clove_drops_per_10_ml=stored.clove_drops_per_10_ml,
    )
    moment = moment_of(page.now, page.zone)
    try:
        return mixing.work_out(session, page.actor, question, moment, mixes.parts_of(session, mix))
    except Invalid:
        return None
