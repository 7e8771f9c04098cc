"""The shelf: paints, mediums and thinners, each with a form to add and to change it, and a way back from archiving."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.science.reference import oils, pigments, solvents
from server.services import hazards, mediums, paints, pigment_names, shelf, thinners
from server.services.mediums import MediumCreate, MediumUpdate, material_choices
from server.services.paints import PaintCreate, PaintUpdate
from server.services.shelf import DRYING_WORDS
from server.services.thinners import ThinnerCreate, ThinnerUpdate
from server.web.deps import Page, PageRequest, Posted
from server.web.forms import FormState
from server.web.saving import Saving, save

router = APIRouter(prefix="/shelf")
KindName = Literal["paints", "mediums", "thinners"]
Shown = Callable[[FormState], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Kind:
    """One of the three kinds of things on a shelf, and what its pages need to know."""

    service: Any
    create: type[BaseModel]
    update: type[BaseModel]
    template: str
    word: str
    context: Shown


def _paint_context(form: FormState) -> dict[str, Any]:
    return {
        "oils": [(row.name, row.label) for row in oils()],
        "suggestions": pigment_names.suggestions(),
        "figures": _figures(form),
    }


@dataclass(frozen=True, slots=True)
class PigmentFigures:
    """What the table says of a pigment that a form names."""

    text: str
    drying: str
    density_g_cm3: float
    paint_oil_g_per_100g: float
    rub_out_oa_g_per_100g: float
    hazards: tuple[str, ...]


def _figures(form: FormState) -> list[PigmentFigures]:
    """The table's figures for the pigments that are typed so far and understood."""
    found = []
    for number in form.rows("pigments"):
        try:
            key = pigment_names.read(form.value(f"pigments-{number}-pigment")).key
        except pigment_names.Unclear:
            continue
        row = next(pigment for pigment in pigments() if pigment.key == key)
        found.append(
            PigmentFigures(
                pigment_names.read(key).text,
                DRYING_WORDS[row.drying_class],
                row.density_g_cm3,
                row.paint_oil_g_per_100g,
                row.rub_out_oa_g_per_100g,
                hazards.kinds_of_note(row.hazard),
            )
        )
    return found


def _medium_context(form: FormState) -> dict[str, Any]:
    return {"materials": material_choices()}


def _thinner_context(form: FormState) -> dict[str, Any]:
    return {"solvents": [(row.name, row.label) for row in solvents()]}


KINDS: dict[str, Kind] = {
    "paints": Kind(paints, PaintCreate, PaintUpdate, "shelf/paint.html", "paint", _paint_context),
    "mediums": Kind(mediums, MediumCreate, MediumUpdate, "shelf/medium.html", "medium", _medium_context),
    "thinners": Kind(thinners, ThinnerCreate, ThinnerUpdate, "shelf/thinner.html", "thinner", _thinner_context),
}


@router.get("")
def all_of_it(page: Page, archived: bool = False) -> Response:
    with page.db.read() as session:
        whole = shelf.read(session, page.actor, archived=archived)
    return page.render("shelf/archived.html" if archived else "shelf/page.html", {"shelf": whole})


@router.post("/starter")
def put_up_starter(page: Page, posted: Posted) -> Response:
    with page.unit("Put up the starter shelf", posted) as work:
        if not work.repeated:
            added = shelf.add_starter(work.session, page.actor)
            work.label = f"Put up the starter shelf: {added} things" if added else "The starter shelf was complete"
            work.location = "/shelf"
    return page.saved(work)


@router.get("/{kind}/new")
def new(page: Page, kind: KindName) -> Response:
    return _show(page, KINDS[kind], f"/shelf/{kind}/new", "")(FormState(), 200)


@router.post("/{kind}/new")
def add(page: Page, posted: Posted, kind: KindName) -> Response:
    of = KINDS[kind]

    def do(session: Session, command: Any) -> str:
        record = of.service.create(session, page.actor, command)
        return f"/shelf#{record.uid}"

    show = _show(page, of, f"/shelf/{kind}/new", "")
    return save(page, posted, Saving(of.create, lambda c: f"Added the {of.word} '{_label(c)}'", do, show))


@router.get("/{kind}/{uid}/edit")
def edit(page: Page, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    with page.db.read() as session:
        record = of.service.get(session, page.actor, uid)
        form = _filled_in(session, of, record)
    return _show(page, of, f"/shelf/{kind}/{uid}/edit", uid, record.archived_at is not None)(form, 200)


@router.post("/{kind}/{uid}/edit")
def change(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    with page.db.read() as session:
        of.service.get(session, page.actor, uid)

    def do(session: Session, command: Any) -> str:
        of.service.update(session, page.actor, uid, command)
        return f"/shelf#{uid}"

    show = _show(page, of, f"/shelf/{kind}/{uid}/edit", uid)
    return save(page, posted, Saving(of.update, lambda c: f"Changed the {of.word} '{_label(c)}'", do, show))


@router.post("/{kind}/{uid}/archive")
def archive(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    return _move(page, posted, "Archived", of, lambda session: of.service.archive(session, page.actor, uid))


@router.post("/{kind}/{uid}/restore")
def restore(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    return _move(page, posted, "Brought back", of, lambda session: of.service.restore(session, page.actor, uid))


def _label(command: Any) -> str:
    return str(command.label)


def _move(page: PageRequest, posted: FormData, done: str, of: Kind, act: Callable[[Session], Any]) -> Response:
    with page.unit(f"{done} a {of.word}", posted) as work:
        if not work.repeated:
            record = act(work.session)
            work.label = f"{done} the {of.word} '{record.label}'"
            work.location = "/shelf"
    return page.saved(work)


def _filled_in(session: Session, of: Kind, record: Any) -> FormState:
    """The form that would leave the record as it is; pigments as a painter writes them."""
    form = FormState.of(of.service.public(session, record))
    for name, value in form.values.items():
        if name.endswith("-pigment"):
            form.values[name] = pigment_names.text_of(*_split(value))
        if name.endswith("-share_pct"):
            form.values[name] = f"{float(value):.6g}"
    return form


def _split(key: str) -> tuple[str, str | None]:
    ci_name, _, variant = key.partition("/")
    return ci_name, variant or None


def _show(
    page: PageRequest, of: Kind, action: str, uid: str, is_archived: bool = False
) -> Callable[[FormState, int], Response]:
    def show(form: FormState, status: int) -> Response:
        context = {"form": form, "action": action, "uid": uid, "is_archived": is_archived, **of.context(form)}
        return page.render(of.template, context, status)

    return show
