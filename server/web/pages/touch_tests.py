"""Touch tests: one press from wherever the panel is shown, the full form, corrected, taken back, counted again."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.services import history, last_wet, on_panel, touch_tests
from server.services.touch_doubts import Doubt
from server.services.touch_tests import TouchTestCreate, TouchTestFields, TouchTestUpdate
from server.store.tables import Layer, TouchTest
from server.web.deps import Page, PageRequest, Posted
from server.web.form_values import show as as_text
from server.web.forms import FormState, parse
from server.web.history_words import lines_of
from server.web.pages.changes import (
    Done,
    FormPage,
    Typed,
    change_by_button,
    change_by_form,
    exactly,
    local_path,
    without,
)
from server.web.touch_questions import LastWet, Question, answered, last_wet_of, question_of

router = APIRouter()

WORDS = {"wet": "wet", "tacky": "tacky", "touch_dry": "touch-dry", "firm": "firm"}
NEXT = "next"


@router.get("/layers/{uid}/tests")
def of_layer(page: Page, uid: str, asked: str = "") -> Response:
    """The full form, with the tests made so far. ``asked``: at a moment that we named."""
    context = _layer_context(page, uid)
    values = {"pressed_at": as_text(page.now, page.zone)} | ({"occasion": "asked"} if asked == "1" else {})
    return page.render("touch_tests/layer.html", {**context, "form": FormState(values=values)})


@router.post("/layers/{uid}/tests")
def log(page: Page, posted: Posted, uid: str) -> Response:
    """Note a test. A press of one button sends the stage alone: then it is now, and leads back to Today."""
    context = _layer_context(page, uid)
    leads_to = _leads_to(posted, context["panel_uid"])
    given, mistaken_uid = answered(without(posted, NEXT))
    command, form = parse(given, TouchTestCreate, zone=page.zone)
    shown = FormPage("touch_tests/layer.html", lambda: context | {NEXT: leads_to})
    if command is None:
        return shown.show(page, form, 422)
    pressed_at = exactly(command.pressed_at, page.zone, page.now) or page.happened_at
    command = command.model_copy(update={"pressed_at": pressed_at})
    question = _question(
        page, command, lambda session: touch_tests.doubt_about(session, page.actor, uid, command, page.now)
    )
    if question is not None:
        form.values.setdefault("pressed_at", as_text(page.now, page.zone))
        return page.render(shown.template, {**shown.context(), "form": form, "question": question}, 422)

    def act(session: Session) -> Done:
        if mistaken_uid:
            touch_tests.archive(session, page.actor, mistaken_uid)
        touch_tests.log(session, page.actor, uid, command, page.now)
        here = on_panel.of_layer(session, page.actor, uid)
        return Done(f"{here.named} pressed: {WORDS[command.stage]}", f"/panels/{here.panel.uid}")

    return change_by_form(page, Typed(posted, form, leads_to), shown, act)


@router.get("/tests/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    context = _test_context(page, uid)
    with page.db.read() as session:
        stored = touch_tests.public(session, touch_tests.get(session, page.actor, uid))
    return page.render("touch_tests/edit.html", {**context, "form": FormState.of(stored, page.zone)})


@router.post("/tests/{uid}/edit")
def save(page: Page, posted: Posted, uid: str) -> Response:
    context = _test_context(page, uid)
    given, mistaken_uid = answered(posted)
    command, form = parse(given, TouchTestUpdate, zone=page.zone)
    shown = FormPage("touch_tests/edit.html", lambda: context)
    if command is None:
        return shown.show(page, form, 422)
    with page.db.read() as session:
        stored = touch_tests.get(session, page.actor, uid)
    command = command.model_copy(update={"pressed_at": exactly(command.pressed_at, page.zone, stored.pressed_at)})

    question = _question(
        page, command, lambda session: touch_tests.doubt_about_change(session, page.actor, uid, command, page.now)
    )
    if question is not None:
        return page.render(shown.template, {**shown.context(), "form": form, "question": question}, 422)

    def act(session: Session) -> Done:
        if mistaken_uid:
            touch_tests.archive(session, page.actor, mistaken_uid)
        touch_tests.update(session, page.actor, uid, command, page.now)
        here = on_panel.of_test(session, page.actor, uid)
        return Done(f"Corrected a touch test of “{here.layer.kind}” on “{here.panel.title}”", context["back"])

    return change_by_form(page, Typed(posted, form), shown, act)


@router.post("/tests/{uid}/mistaken")
def mistaken(page: Page, posted: Posted, uid: str) -> Response:
    back = _test_context(page, uid)["back"]

    def act(session: Session) -> Done:
        touch_tests.archive(session, page.actor, uid)
        here = on_panel.of_test(session, page.actor, uid)
        return Done(f"Marked a touch test of “{here.layer.kind}” on “{here.panel.title}” as mistaken", back)

    return change_by_button(page, posted, act, back)


@router.post("/tests/{uid}/sure")
def sure(page: Page, posted: Posted, uid: str) -> Response:
    """A test that nobody could be asked about when it was entered is right."""
    back = _test_context(page, uid)["back"]

    def act(session: Session) -> Done:
        touch_tests.confirm(session, page.actor, uid)
        here = on_panel.of_test(session, page.actor, uid)
        return Done(f"Confirmed a touch test of “{here.layer.kind}” on “{here.panel.title}”", back)

    return change_by_button(page, posted, act, back)


@router.post("/tests/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    back = _test_context(page, uid)["back"]

    def act(session: Session) -> Done:
        touch_tests.restore(session, page.actor, uid)
        here = on_panel.of_test(session, page.actor, uid)
        return Done(f"Counts again: a touch test of “{here.layer.kind}” on “{here.panel.title}”", back)

    return change_by_button(page, posted, act, back)


def _question(
    page: PageRequest, command: TouchTestFields, doubt_in: Callable[[Session], Doubt | None]
) -> Question | None:
    """What to ask before the test is kept; None when it was answered, and where nobody is there to ask."""
    if command.is_sure or page.happened_at is not None:
        return None
    with page.db.read() as session:
        doubt = doubt_in(session)
    return None if doubt is None else question_of(doubt, WORDS[command.stage], page.today, page.zone)


def _leads_to(posted: Posted, panel_uid: str) -> str:
    """Where to go on: as the form says; after a bare press, which sends no time, to the panel's card on Today."""
    is_from_today = not {NEXT, "pressed_at"} & posted.keys()
    return f"/?card={panel_uid}#card-{panel_uid}" if is_from_today else local_path(posted.get(NEXT), "")


def _layer_context(page: PageRequest, uid: str) -> dict[str, Any]:
    with page.db.read() as session:
        here = on_panel.of_layer(session, page.actor, uid)
        tests = on_panel.tests_on(session, page.actor, here.layer)
        standing = [test for test in reversed(tests) if test.archived_at is None]
        return {
            "uid": uid,
            "title": here.panel.title,
            "kind": here.layer.kind,
            "is_archived": here.panel.archived_at is not None,
            "painted_at": here.layer.painted_at,
            "regions": touch_tests.regions_of(here.layer),
            "tests": tests,
            "last_wet_asked": _last_wet(here.layer, standing, f"/panels/{here.panel.uid}"),
            "goes_back": last_wet.goes_back(standing),
            "action": f"/layers/{uid}/tests",
            "panel_uid": here.panel.uid,
            "back": f"/panels/{here.panel.uid}",
            "question": None,
            NEXT: "",
        }


def _last_wet(layer: Layer, standing: Sequence[TouchTest], leads_to: str) -> LastWet | None:
    first_at = last_wet.first_dry_at(standing)
    if first_at is None or layer.painted_at is None:
        return None
    return last_wet_of(layer.uid, layer.painted_at, first_at, leads_to)


def _test_context(page: PageRequest, uid: str) -> dict[str, Any]:
    with page.db.read() as session:
        here = on_panel.of_test(session, page.actor, uid)
        return {
            "title": here.panel.title,
            "kind": here.layer.kind,
            "question": None,
            "uid": uid,
            "is_mistaken": here.test.archived_at is not None,
            "regions": touch_tests.regions_of(here.layer),
            "lines": partial(lines_of, zone=page.zone),
            "changes": history.of_record(session, page.actor, "touch_test", uid),
            "action": f"/tests/{uid}/edit",
            "back": f"/layers/{here.layer.uid}/tests",
        }
