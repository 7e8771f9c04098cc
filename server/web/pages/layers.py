"""Layers: planned, recorded as painted earlier, changed, painted, put back, moved, archived."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, TypeVar
from urllib.parse import urlencode

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services import board, history, layers, on_panel, overrides, panels, shelf
from server.services.layer_commands import LAYER_KINDS, LayerCreate, LayerPaint, LayerUpdate
from server.services.on_panel import LayerOnPanel
from server.web import standing_words
from server.web.deps import Page, PageRequest, Posted
from server.web.form_values import clean_text
from server.web.form_values import show as as_text
from server.web.forms import COMMAND_KEY, FormState, edited_rows, parse
from server.web.history_words import lines_of
from server.web.pages.changes import Done, FormPage, Typed, change_by_button, change_by_form, exactly, with_field
from server.web.pages.layer_choices import layer_choices, with_tubes_as_mixes
from server.web.render import see_other
from server.web.today_cards import OF_EVERY_SITTING

router = APIRouter()

C = TypeVar("C", LayerCreate, LayerUpdate, LayerPaint)
OWN_KIND = "_own_kind"
MIX_FIRST, STARTER = "_mix_first", "_starter"  # buttons that leave the form
# Every row of mixes offers the same suggestions of places; a place alone does not make a row.
QUIET = ("region",)
NEW_LAYER = {"kind": "underpainting", "thickness_preset": "normal_brush", "material": "oil", "texture": "smooth"}


@router.get("/panels/{uid}/layers/new")
def new(page: Page, uid: str, painted: str = "", mix: str = "") -> Response:
    """The form of a layer to come, or with ``painted`` of one that is on already; ``mix`` is chosen beforehand."""
    start = NEW_LAYER | ({"painted_at": as_text(page.now, page.zone)} if painted else {})
    form = FormState(values=start | _typed_before(page))
    if mix:
        rows = form.rows("mixes", 1)
        free = next((row for row in rows if not form.value(f"mixes-{row}-mix_uid")), rows[-1] + 1)
        form.values[f"mixes-{free}-mix_uid"] = mix
    return page.render("layers/new.html", {**_new_context(page, uid, bool(painted)), "form": form})


def _typed_before(page: PageRequest) -> dict[str, str]:
    """What was typed in the form before it was left to mix something first, from the address."""
    known = {*LayerCreate.model_fields, OWN_KIND}
    asked = page.request.query_params.multi_items()
    return {name: clean_text(text) for name, text in asked if name in known or name.startswith("mixes-")}


def _mix_first(posted: FormData, uid: str, painted: str) -> Response:
    """Leave the form to mix something; what was typed goes along in the address and comes back."""
    typed = {name: text for name, text in posted.multi_items() if isinstance(text, str) and text}
    kept = {name: text for name, text in typed.items() if name not in {COMMAND_KEY, MIX_FIRST}}
    address = urlencode(kept | ({"painted": painted} if painted else {}))
    return see_other(f"/mixes/new?{urlencode({'panel': uid, 'typed': address})}")


@router.post("/panels/{uid}/layers/new")
def add(page: Page, posted: Posted, uid: str, painted: str = "") -> Response:
    shown = FormPage("layers/new.html", lambda: _new_context(page, uid, bool(painted)))
    if again := edited_rows(posted):
        return shown.show(page, again)
    if posted.get(MIX_FIRST):
        return _mix_first(posted, uid, painted)
    command, form = parse(with_own_kind(posted), LayerCreate, zone=page.zone, quiet=QUIET)
    if posted.get(STARTER):
        with page.unit("Put up the starter shelf", posted) as work:
            if not work.repeated:
                shelf.add_starter(work.session, page.actor)
        form.errors.clear()
        return shown.show(page, form)
    if command is not None and painted and command.painted_at is None:
        form.add_error("painted_at", "Say when it was painted.")
        command = None
    if command is None:
        return shown.show(page, form, 422)
    command = command.model_copy(update={"painted_at": exactly(command.painted_at, page.zone, page.now)})

    def act(session: Session) -> Done:
        layer = layers.create(session, page.actor, uid, _mixed(session, page, command), page.now)
        named = on_panel.of_layer(session, page.actor, layer.uid).named
        did = "Recorded" if command.painted_at else "Planned"
        return Done(f"{did} {named}", _at_layer(uid, layer.uid))

    return change_by_form(page, Typed(posted, form), shown, act)


@router.get("/layers/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    context, stored = _layer_context(page, uid, f"/layers/{uid}/edit")
    form = FormState.of(stored, page.zone)
    form.values[OWN_KIND] = "" if stored.kind in LAYER_KINDS else stored.kind
    return page.render("layers/edit.html", {**context, "form": form})


@router.post("/layers/{uid}/edit")
def save(page: Page, posted: Posted, uid: str) -> Response:
    context, stored = _layer_context(page, uid, f"/layers/{uid}/edit")
    shown = FormPage("layers/edit.html", lambda: context)
    if again := edited_rows(posted):
        return shown.show(page, again)
    posted = with_own_kind(with_one_thickness(posted, stored, page))
    command, form = parse(posted, LayerUpdate, zone=page.zone, quiet=QUIET)
    if command is None:
        return shown.show(page, form, 422)
    painted_at = exactly(command.painted_at, page.zone, stored.painted_at)
    command = command.model_copy(update={"painted_at": painted_at})

    def act(session: Session) -> Done:
        layers.update(session, page.actor, uid, _mixed(session, page, command), page.now)
        here = on_panel.of_layer(session, page.actor, uid)
        return Done(f"Corrected {here.named}", _at_layer(here.panel.uid, uid))

    return change_by_form(page, Typed(posted, form), shown, act)


@router.get("/layers/{uid}/paint")
def paint_form(page: Page, uid: str) -> Response:
    """The layer as planned, with the present moment: most often one more tap is enough."""
    context, stored = _paint_context(page, uid)
    form = FormState.of(stored, page.zone)
    form.values["painted_at"] = as_text(page.now, page.zone)
    return page.render("layers/paint.html", {**context, "form": form})


@router.post("/layers/{uid}/paint")
def paint(page: Page, posted: Posted, uid: str) -> Response:
    context, stored = _paint_context(page, uid)
    shown = FormPage("layers/paint.html", lambda: context | {"opens": True})
    if again := edited_rows(posted):
        return shown.show(page, again)
    posted = with_one_thickness(posted, stored, page)
    command, form = parse(posted, LayerPaint, zone=page.zone, quiet=QUIET)
    if command is None:
        return shown.show(page, form, 422)
    painted_at = exactly(command.painted_at, page.zone, page.now) or page.happened_at
    command = command.model_copy(update={"painted_at": painted_at})

    def act(session: Session) -> Done:
        layers.paint(session, page.actor, uid, _mixed(session, page, command), page.now)
        here = on_panel.of_layer(session, page.actor, uid)
        return Done(f"Painted {here.named}", _at_layer(here.panel.uid, uid))

    return change_by_form(page, Typed(posted, form), shown, act)


@router.post("/layers/{uid}/unpaint")
def unpaint(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, here: LayerOnPanel) -> str:
        layers.unpaint(session, page.actor, uid)
        return f"Put {here.named} back to planned"

    return _at_button(page, posted, uid, act)


@router.post("/layers/{uid}/move")
def move(page: Page, posted: Posted, uid: str) -> Response:
    is_up = posted.get("direction") != "down"

    def act(session: Session, here: LayerOnPanel) -> str:
        layers.move(session, page.actor, uid, "up" if is_up else "down")
        return f"Moved {here.named} {'later' if is_up else 'sooner'}"

    return _at_button(page, posted, uid, act)


@router.post("/layers/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, here: LayerOnPanel) -> str:
        layers.archive(session, page.actor, uid)
        return f"Archived {here.named}"

    return _at_button(page, posted, uid, act)


@router.post("/layers/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    def act(session: Session, here: LayerOnPanel) -> str:
        layers.restore(session, page.actor, uid)
        return f"Brought back {here.named}"

    return _at_button(page, posted, uid, act)


def with_own_kind(posted: FormData) -> FormData:
    """The painter's own word for the layer, where one was typed, in the place of the one that was chosen."""
    own = posted.get(OWN_KIND)
    if not isinstance(own, str) or not own.strip():
        return posted
    return with_field(posted, "kind", own)


def with_one_thickness(posted: FormData, stored: LayerUpdate, page: PageRequest) -> FormData:
    """A preset that was chosen while the figure beside it was left as it stood counts, and the figure does not."""
    typed = posted.get("wet_thickness_um")
    was = as_text(stored.wet_thickness_um, page.zone)
    is_new_choice = posted.get("thickness_preset") and posted.get("thickness_preset") != stored.thickness_preset
    if was and is_new_choice and isinstance(typed, str) and typed.strip() == was:
        return with_field(posted, "wet_thickness_um", "")
    return posted


def _mixed(session: Session, page: PageRequest, command: C) -> C:
    """The command with every tube that was chosen unmixed kept as a mix."""
    return command.model_copy(update={"mixes": with_tubes_as_mixes(session, page.actor, command.mixes)})


def _at_layer(panel_uid: str, uid: str) -> str:
    return f"/panels/{panel_uid}#layer-{uid}"


def _at_button(page: PageRequest, posted: FormData, uid: str, act: Callable[[Session, LayerOnPanel], str]) -> Response:
    """One of the buttons beside a layer; ``act`` answers the label of what it did."""
    with page.db.read() as session:
        panel_uid = on_panel.of_layer(session, page.actor, uid).panel.uid

    def named(session: Session) -> Done:
        label = act(session, on_panel.of_layer(session, page.actor, uid))
        return Done(label, f"/panels/{panel_uid}")

    return change_by_button(page, posted, named, f"/panels/{panel_uid}")


def _new_context(page: PageRequest, panel_uid: str, is_painted: bool) -> Mapping[str, Any]:
    """What the form of a new layer stands in. Raises ``NotFound``."""
    plain = f"/panels/{panel_uid}/layers/new"
    with page.db.read() as session:
        return {
            "title": panels.get(session, page.actor, panel_uid).title,
            "choices": layer_choices(session, page.actor),
            "plain": plain,
            "action": f"{plain}?painted=1" if is_painted else plain,
            "back": f"/panels/{panel_uid}",
            "is_painted": is_painted,
            "kept": None,
            "is_new": True,
        }


def _layer_context(page: PageRequest, uid: str, action: str) -> tuple[dict[str, Any], LayerUpdate]:
    """What the form of a layer stands in, and the layer as its form starts from it. Raises ``NotFound``."""
    with page.db.read() as session:
        here = on_panel.of_layer(session, page.actor, uid)
        stored = layers.public(session, here.layer)
        context = {
            "title": here.panel.title,
            "kind": here.layer.kind,
            "choices": layer_choices(session, page.actor, stored),
            "lines": partial(lines_of, zone=page.zone),
            "changes": history.of_record(session, page.actor, "layer", uid),
            "action": action,
            "back": f"/panels/{here.panel.uid}",
            "is_painted": here.layer.painted_at is not None,
            "kept": overrides.from_json(here.layer.verdict_json) if here.layer.override_reason else None,
            "is_new": False,
            "opens": not stored.mixes,
        }
    return context, stored


def _paint_context(page: PageRequest, uid: str) -> tuple[dict[str, Any], LayerUpdate]:
    """The same for the form that logs it as painted, with what the rules say of it now where it is the next one."""
    context, stored = _layer_context(page, uid, f"/layers/{uid}/paint")
    with page.db.read() as session:
        panel_uid = on_panel.of_layer(session, page.actor, uid).panel.uid
        panel = board.one_panel(session, page.actor, panel_uid, board.moment_of(page.now, page.zone))
    is_next = panel is not None and panel.coming is not None and panel.coming.uid == uid
    own = panel.coming.hazards if panel and panel.coming and is_next else ()
    return context | {
        "correct": f"/layers/{uid}/edit",
        "judged": panel.verdict if panel and is_next else None,
        "below": panel.top if panel else None,
        "cautions_of": (*OF_EVERY_SITTING, *(kind for kind in own if kind not in OF_EVERY_SITTING)),
        "helps": lambda found, below: standing_words.remedy_words(found, below, page.today, page.zone),
    }, stored
