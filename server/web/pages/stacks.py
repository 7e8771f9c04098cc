"""Stacks: how a picture is built, layer by layer, checked before any paint is squeezed, and put on a panel.

The check is a GET, so that an address is a question; putting the layers on a panel is a POST of the same form.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.formats.drawings_bands import BandLayer, BandsDrawing, bands_drawing
from server.formats.drawings_stack import StackDrawing, StackRow, stack_drawing
from server.formats.swatch import UNKNOWN, mix_swatch
from server.science.soundness.types import Finding
from server.services import mixes, panels, places, stack_checks, stack_plans, stack_starters
from server.services.board import moment_of
from server.services.errors import Invalid
from server.services.layer_commands import LAYER_KINDS
from server.services.recipes import MixBook
from server.services.stack_checks import StackBoard, StackLayerFact, StackQuestion
from server.services.stack_plans import StackApply, StackCreate, StackUpdate
from server.store.tables import StackPlan
from server.web.deps import Page, PageRequest, Posted
from server.web.drawn import GROUND_WORDS, SUPPORT_WORDS
from server.web.forms import COMMAND_KEY, FormState, parse
from server.web.pages.changes import Done, FormPage, Typed, change_by_button, change_by_form
from server.web.pages.record_forms import Reads, save
from server.web.standing_words import remedy_words

router = APIRouter(prefix="/stacks")
QUIET = ("layer",)
SURFACES = (("matte", "matt, with tooth"), ("absorbent", "absorbent"), ("sealed", "sealed"), ("gloss", "glossy"))


@dataclass(frozen=True, slots=True)
class Listed:
    """One stack in the list."""

    uid: str
    label: str
    kinds: tuple[str, ...]
    notes: str
    drawing: BandsDrawing


@router.get("")
def all_of_them(page: Page, archived: bool = False, panel: str = "") -> Response:
    """All stacks; with ``panel``, the uid of one, each leads to itself on that panel."""
    with page.db.read() as session:
        plans = stack_plans.all_archived(session, page.actor) if archived else stack_plans.all_open(session, page.actor)
        context = {
            "stacks": _listed(session, page, plans),
            "is_archived": archived,
            "on_panel": f"?panel_uid={panels.get(session, page.actor, panel).uid}" if panel else "",
            "missing": [starter.label for starter in stack_starters.missing(session, page.actor)],
        }
    return page.render("stacks/list.html", context)


def _listed(session: Session, page: PageRequest, plans: Sequence[StackPlan]) -> list[Listed]:
    layers = stack_plans.layers_of_many(session, plans)
    book = MixBook.load(session, page.actor.studio_id) if plans else None
    found = []
    for plan in plans:
        rows = layers[plan.id or 0]
        drawn = [BandLayer(row.kind, _colour(book, row.mix_id), row.wet_thickness_um) for row in rows]
        kinds = tuple(row.kind for row in rows)
        found.append(Listed(plan.uid, plan.label, kinds, plan.notes, bands_drawing(drawn)))
    return found


def _colour(book: MixBook | None, mix_id: int | None) -> str:
    mix = book.mixes.get(mix_id or 0) if book else None
    if mix is None:
        return UNKNOWN
    return mix.swatch or (mix_swatch(mix.recipe) if mix.recipe else UNKNOWN)


@router.post("/starter")
def starter(page: Page, posted: Posted) -> Response:
    """Four stacks of ours to begin with."""

    def act(session: Session) -> Done:
        added = stack_starters.add(session, page.actor)
        return Done(f"Added {added} stacks to begin with" if added else "Nothing was missing", "/stacks")

    return change_by_button(page, posted, act, "/stacks")


@router.get("/new")
def new(page: Page) -> Response:
    return _form(page, None).show(page, FormState())


@router.post("/new")
def add(page: Page, posted: Posted) -> Response:
    def act(session: Session, command: Any) -> Done:
        plan = stack_plans.create(session, page.actor, command)
        return Done(f"Kept the stack “{plan.label}”", f"/stacks/{plan.uid}")

    return save(page, posted, Reads(StackCreate, ("material",)), _form(page, None), act)


@router.get("/{uid}")
def one(page: Page, uid: str) -> Response:
    """The stack checked where the address puts it."""
    asked = FormData([(name, value) for name, value in page.request.query_params.multi_items() if name != COMMAND_KEY])
    question, form = parse(asked, StackQuestion, zone=page.zone, quiet=QUIET)
    with page.db.read() as session:
        plan = stack_plans.get(session, page.actor, uid)
        board = None
        if question is not None:
            try:
                moment = moment_of(page.now, page.zone)
                board = stack_checks.check_stack(session, page.actor, plan, question, moment)
            except Invalid as fault:
                form.add_errors(fault.errors)
    return _stack_page(page, uid, board).show(page, form, 422 if form.errors else 200)


@router.post("/{uid}/apply")
def apply(page: Page, posted: Posted, uid: str) -> Response:
    """Plan its layers on the panel that was chosen."""
    wanted = ("panel_uid", "mixes-", COMMAND_KEY)
    sent = FormData([(name, value) for name, value in posted.multi_items() if name.startswith(wanted)])
    command, form = parse(sent, StackApply, zone=page.zone, quiet=QUIET)
    form.values = {name: value for name, value in posted.multi_items() if isinstance(value, str)} | form.values
    with page.db.read() as session:
        stack_plans.get(session, page.actor, uid)
    shown = _stack_page(page, uid, None)
    if command is None:
        return shown.show(page, form, 422)
    asked = command

    def act(session: Session) -> Done:
        panel, made = stack_plans.apply(session, page.actor, uid, asked)
        label = stack_plans.get(session, page.actor, uid).label
        return Done(f"Planned {len(made)} layers of “{label}” on “{panel.title}”", f"/panels/{panel.uid}")

    return change_by_form(page, Typed(posted, form), shown, act)


@router.get("/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    with page.db.read() as session:
        plan = stack_plans.get(session, page.actor, uid)
        form = FormState.of(stack_plans.public(session, plan))
    return _form(page, plan).show(page, form)


@router.post("/{uid}/edit")
def change(page: Page, posted: Posted, uid: str) -> Response:
    with page.db.read() as session:
        plan = stack_plans.get(session, page.actor, uid)

    def act(session: Session, command: Any) -> Done:
        changed = stack_plans.update(session, page.actor, uid, command)
        return Done(f"Changed the stack “{changed.label}”", f"/stacks/{uid}")

    return save(page, posted, Reads(StackUpdate, ("material",)), _form(page, plan), act)


@router.post("/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        plan = stack_plans.archive(session, page.actor, uid)
        return Done(f"Archived the stack “{plan.label}”", "/stacks")

    return change_by_button(page, posted, act, f"/stacks/{uid}")


@router.post("/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session) -> Done:
        plan = stack_plans.restore(session, page.actor, uid)
        return Done(f"Brought back the stack “{plan.label}”", f"/stacks/{uid}")

    return change_by_button(page, posted, act, f"/stacks/{uid}")


def _form(page: PageRequest, plan: StackPlan | None) -> FormPage:
    def context() -> Mapping[str, Any]:
        with page.db.read() as session:
            return {
                "plan": plan,
                "mixes": [(mix.uid, mix.label) for mix in mixes.all_open(session, page.actor)],
                "kinds": ["grisaille", "dead colour", *LAYER_KINDS],
                "action": f"/stacks/{plan.uid}/edit" if plan else "/stacks/new",
                "back": f"/stacks/{plan.uid}" if plan else "/stacks",
            }

    return FormPage("stacks/form.html", context)


def _stack_page(page: PageRequest, uid: str, board: StackBoard | None) -> FormPage:
    def context() -> Mapping[str, Any]:
        with page.db.read() as session:
            plan = stack_plans.get(session, page.actor, uid)
            return {
                "plan": plan,
                "rows": stack_plans.public(session, plan).layers,
                "board": board,
                "drawing": _drawing(board) if board else None,
                "helps": lambda found, layer: _helps(page, found, layer),
                "panels": [(panel.uid, panel.title) for panel in panels.all_open(session, page.actor)],
                "places": [(place.uid, place.name) for place in places.all_open(session, page.actor)],
                "mixes": [(mix.uid, mix.label) for mix in mixes.all_open(session, page.actor)],
                "supports": list(SUPPORT_WORDS.items()),
                "grounds": list(GROUND_WORDS.items()),
                "surfaces": SURFACES,
            }

    return FormPage("stacks/stack.html", context)


def _drawing(board: StackBoard) -> StackDrawing:
    rows = [
        StackRow(
            label=layer.kind,
            colour=layer.swatch,
            range_d=(layer.start.p10_d, layer.start.planned_d, layer.start.p90_d) if layer.start else None,
            severity=layer.verdict.verdict.value if layer.verdict else "",
            is_new=layer.is_new,
        )
        for layer in board.layers
    ]
    return stack_drawing(rows, board.moment.on, board.finish_range.planned_d if board.finish_range else None)


def _helps(page: PageRequest, found: Finding, layer: StackLayerFact) -> str:
    """A finding's remedy in words; its day counts from the layer below, which is to be painted as planned."""
    return remedy_words(found, layer, page.today, page.zone)
