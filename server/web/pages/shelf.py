"""The shelf: paints, mediums and thinners, each with a form to add and to change it, and a way back from archiving."""

import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel
from sqlmodel import Session
from starlette.responses import Response

from server.science.reference import oils, pigments, solvents
from server.services import board, hazards, mediums, paints, pigment_names, shelf, thinners
from server.services.board.tubes import running_low, tubes
from server.services.mediums import MediumCreate, MediumUpdate, material_choices
from server.services.paints import PaintCreate, PaintUpdate
from server.services.shelf import DRYING_WORDS
from server.services.thinners import ThinnerCreate, ThinnerUpdate
from server.store.tables import Paint
from server.web import words
from server.web.deps import Page, Posted
from server.web.forms import FormState
from server.web.pages.changes import Done, FormPage, change_by_button
from server.web.pages.record_forms import Reads, save

router = APIRouter(prefix="/shelf")
# The forms that offer the starter shelf while there is nothing to choose from.
_FORM_WITHOUT_SHELF = re.compile(
    r"/panels/[A-Za-z0-9_-]{1,32}/layers/new(\?painted=1)?|/mixes/new(\?panel=[A-Za-z0-9_-]{1,32})?|/mixing"
)
KindName = Literal["paints", "mediums", "thinners"]


@dataclass(frozen=True, slots=True)
class PigmentFigures:
    """What the table says of a pigment that a form names."""

    text: str
    drying: str
    density_g_cm3: float
    paint_oil_g_per_100g: float
    rub_out_oa_g_per_100g: float
    hazards: tuple[str, ...]


def figures_of(form: FormState) -> list[PigmentFigures]:
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


@dataclass(frozen=True, slots=True)
class Kind:
    """One of the three kinds of things on a shelf: its service and commands, its form and what that chooses from."""

    service: Any
    create: type[BaseModel]
    update: type[BaseModel]
    template: str
    word: str
    choices: dict[str, Any] = field(repr=False)


KINDS: dict[str, Kind] = {
    "paints": Kind(
        paints,
        PaintCreate,
        PaintUpdate,
        "shelf/paint.html",
        "paint",
        {
            "oils": [(row.name, row.label) for row in oils()],
            "suggestions": pigment_names.suggestions(),
            "figures_of": figures_of,
        },
    ),
    "mediums": Kind(
        mediums, MediumCreate, MediumUpdate, "shelf/medium.html", "medium", {"materials": material_choices()}
    ),
    "thinners": Kind(
        thinners,
        ThinnerCreate,
        ThinnerUpdate,
        "shelf/thinner.html",
        "thinner",
        {"solvents": [(row.name, row.label) for row in solvents()]},
    ),
}


@dataclass(frozen=True, slots=True)
class _Tube:
    """A tube that was painted from since its content was said: ``said_ml`` then, ``left_ml`` now."""

    said_at: datetime
    said_ml: float
    left_ml: float


@dataclass(frozen=True, slots=True)
class _Of:
    """Whose form it is; ``uid`` "" for a new thing."""

    uid: str = ""
    is_archived: bool = False
    tube: _Tube | None = None


_NEW = _Of()


@router.get("")
def whole(page: Page, archived: bool = False) -> Response:
    with page.db.read() as session:
        found = shelf.read(session, page.actor, archived=archived)
        if archived:
            return page.render("shelf/archived.html", {"shelf": found})
        levels = tubes(session, page.actor, board.moment_of(page.now, page.zone))
    return page.render("shelf/page.html", {"shelf": found, "tubes": levels, "low": running_low(levels)})


@router.post("/starter")
def put_up_starter(page: Page, posted: Posted) -> Response:
    """Leads back to the form that wanted something on the shelf, where ``back`` names one."""
    given = posted.get("back")
    back = given if isinstance(given, str) and _FORM_WITHOUT_SHELF.fullmatch(given) else "/shelf"

    def act(session: Session) -> Done:
        added = shelf.add_starter(session, page.actor)
        told = f"Put up the starter shelf: {added} things" if added else "The starter shelf was complete already"
        return Done(told, back)

    return change_by_button(page, posted, act, back)


@router.get("/{kind}/new")
def new(page: Page, kind: KindName) -> Response:
    return _form(kind).show(page, FormState())


@router.post("/{kind}/new")
def add(page: Page, posted: Posted, kind: KindName) -> Response:
    of = KINDS[kind]

    def act(session: Session, command: Any) -> Done:
        record = of.service.create(session, page.actor, command)
        return Done(f"Added the {of.word} “{record.label}”", f"/shelf#{record.uid}")

    return save(page, posted, Reads(of.create), _form(kind), act)


@router.get("/{kind}/{uid}/edit")
def edit(page: Page, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    with page.db.read() as session:
        record = of.service.get(session, page.actor, uid)
        form = _filled_in(of.service.public(session, record))
        tube = _tube(session, record)
    if tube is not None:
        form.values["left_ml"] = words.rough_ml_words(tube.left_ml, as_typed=True)
    return _form(kind, _Of(uid, record.archived_at is not None, tube)).show(page, form)


@router.post("/{kind}/{uid}/edit")
def change(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]
    with page.db.read() as session:
        record = of.service.get(session, page.actor, uid)
        shown = _form(kind, _Of(uid, record.archived_at is not None, _tube(session, record)))

    def act(session: Session, command: Any) -> Done:
        changed = of.service.update(session, page.actor, uid, command)
        return Done(f"Changed the {of.word} “{changed.label}”", f"/shelf#{uid}")

    return save(page, posted, Reads(of.update), shown, act)


@router.post("/{kind}/{uid}/archive")
def archive(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]

    def act(session: Session) -> Done:
        record = of.service.archive(session, page.actor, uid)
        return Done(f"Archived the {of.word} “{record.label}”", "/shelf")

    return change_by_button(page, posted, act, "/shelf")


@router.post("/{kind}/{uid}/restore")
def restore(page: Page, posted: Posted, kind: KindName, uid: str) -> Response:
    of = KINDS[kind]

    def act(session: Session) -> Done:
        record = of.service.restore(session, page.actor, uid)
        return Done(f"Brought back the {of.word} “{record.label}”", f"/shelf#{uid}")

    return change_by_button(page, posted, act, "/shelf")


def _form(kind: str, record: _Of = _NEW) -> FormPage:
    of, uid = KINDS[kind], record.uid
    action = f"/shelf/{kind}/{uid}/edit" if uid else f"/shelf/{kind}/new"
    told = {"action": action, "uid": uid, "is_archived": record.is_archived, "tube": record.tube}
    return FormPage(of.template, lambda: {**told, **of.choices})


def _tube(session: Session, record: Any) -> _Tube | None:
    """What was painted out of a tube; None for what is none, or is as the painter said."""
    if not isinstance(record, Paint) or record.left_ml is None or record.left_at is None:
        return None
    left_ml = paints.left_of(session, record)
    return None if left_ml is None or left_ml == record.left_ml else _Tube(record.left_at, record.left_ml, left_ml)


def _filled_in(stored: BaseModel) -> FormState:
    """The form that would leave the record as it is; pigments as a painter writes them."""
    form = FormState.of(stored)
    for name, value in form.values.items():
        if name.endswith("-pigment"):
            ci_name, _, variant = value.partition("/")
            form.values[name] = pigment_names.text_of(ci_name, variant or None)
        elif name.endswith("_pct") and value:
            form.values[name] = f"{float(value):.6g}"
    return form
