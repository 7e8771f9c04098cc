"""The finish of a panel: its gates, its steps planned and done, the tests before them."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, get_args

from fastapi import APIRouter
from sqlmodel import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from server.services import board, finish, finish_tests, history, overrides
from server.services.board.facts import GateFact, StepFact
from server.services.finish import FinishStepCreate, FinishStepDo, FinishStepUpdate
from server.services.finish_tests import FinishTestCreate, FinishTestUpdate
from server.store.tables import FinishAction
from server.web import action_words, finish_words, standing_words
from server.web.deps import Page, PageRequest, Posted
from server.web.form_values import show as as_text
from server.web.forms import FormState
from server.web.history_words import lines_of
from server.web.pages.changes import Done, FormPage, change_by_button, exactly, local_path, without
from server.web.pages.record_forms import Reads, save

router = APIRouter()

ACTIONS: tuple[str, ...] = get_args(FinishAction)
NEXT = "next"


@router.get("/panels/{uid}/finish")
def show(page: Page, uid: str) -> Response:
    """What may be done to the picture and from when, what is planned, done and tested."""
    moment = board.moment_of(page.now, page.zone)
    with page.db.read() as session:
        facts = board.panel_page(session, page.actor, uid, page.now, page.zone)
        gates = finish.gates(session, page.actor, uid, moment)
        steps = finish.archived_on(session, page.actor, uid)
        tests = finish_tests.on_panel(session, page.actor, uid)
        kept = {step.uid: step for step in finish.all_open(session, page.actor)}
    by_action = {gate.action: gate for gate in gates}
    closing = facts.panel.closing
    context = {
        "panel": facts.panel,
        "has_paint": facts.panel.top is not None,
        "told": standing_words.closing_words(closing, moment.today),
        "gates": [
            (
                gate,
                finish_words.wait_words(gate, moment.today),
                finish_words.longer_words(gate, moment.today),
                closing.done_since(gate.action) if closing else None,
            )
            for gate in (by_action[action] for action in action_words.ACTIONS)
        ],
        "planned": [
            (step, _too_early(step, by_action[step.action], page)) for step in (closing.planned if closing else ())
        ],
        "done": [
            (step, overrides.from_json(kept[step.uid].verdict_json)) for step in (closing.done if closing else ())
        ],
        "archived_steps": steps,
        "tests": tests,
        "helps": lambda found, below: standing_words.remedy_words(found, below, page.today, page.zone),
    }
    return page.render("finish/page.html", context | _words())


@router.get("/panels/{uid}/finish/steps")
def new(page: Page, uid: str, action: str = "", done: str = "") -> Response:
    """The form of a step to come, or with ``done`` of one that is done."""
    action = action if action in ACTIONS else "frame"
    start = {"action": action} | ({"done_at": as_text(page.now, page.zone)} if done else {})
    return page.render(
        "finish/step.html", {**_new_context(page, uid, action, bool(done)), "form": FormState(values=start)}
    )


@router.post("/panels/{uid}/finish/steps")
def add(page: Page, posted: Posted, uid: str, done: str = "") -> Response:
    action = str(posted.get("action") or "")
    shown = FormPage("finish/step.html", lambda: _new_context(page, uid, action, bool(done)))

    def act(session: Session, command: FinishStepCreate) -> Done:
        at = exactly(command.done_at, page.zone, page.now) if done else None
        if done and at is None:
            at = page.now
        command = command.model_copy(update={"done_at": at})
        step = finish.create(session, page.actor, uid, command, page.now)
        return Done(_label(session, page, step.uid, "Did" if done else "Planned"), f"/panels/{uid}/finish#steps")

    return save(page, posted, Reads(FinishStepCreate), shown, act)


@router.get("/finish/{uid}/do")
def do_form(page: Page, uid: str) -> Response:
    context, stored = _step_context(page, uid, f"/finish/{uid}/do")
    form = FormState.of(stored, page.zone)
    form.values["done_at"] = as_text(page.now, page.zone)
    return page.render("finish/do.html", {**context, "form": form})


@router.post("/finish/{uid}/do")
def do(page: Page, posted: Posted, uid: str) -> Response:
    context, _ = _step_context(page, uid, f"/finish/{uid}/do")

    def act(session: Session, command: FinishStepDo) -> Done:
        command = command.model_copy(update={"done_at": exactly(command.done_at, page.zone, page.now)})
        finish.do(session, page.actor, uid, command, page.now)
        return Done(_label(session, page, uid, "Did"), f"{context['back']}#steps")

    return save(page, posted, Reads(FinishStepDo), FormPage("finish/do.html", lambda: context), act)


@router.get("/finish/{uid}/edit")
def edit(page: Page, uid: str) -> Response:
    context, stored = _step_context(page, uid, f"/finish/{uid}/edit")
    return page.render("finish/edit.html", {**context, "form": FormState.of(stored, page.zone)})


@router.post("/finish/{uid}/edit")
def change(page: Page, posted: Posted, uid: str) -> Response:
    context, stored = _step_context(page, uid, f"/finish/{uid}/edit")

    def act(session: Session, command: FinishStepUpdate) -> Done:
        at = exactly(command.done_at, page.zone, stored.done_at)
        finish.update(session, page.actor, uid, command.model_copy(update={"done_at": at}), page.now)
        return Done(_label(session, page, uid, "Corrected"), f"{context['back']}#steps")

    return save(page, posted, Reads(FinishStepUpdate), FormPage("finish/edit.html", lambda: context), act)


@router.post("/finish/{uid}/undone")
def undone(page: Page, posted: Posted, uid: str) -> Response:
    return _at_step(page, posted, uid, finish.undo_done, "Put back to planned:")


@router.post("/finish/{uid}/archive")
def archive(page: Page, posted: Posted, uid: str) -> Response:
    return _at_step(page, posted, uid, finish.archive, "Archived")


@router.post("/finish/{uid}/restore")
def restore(page: Page, posted: Posted, uid: str) -> Response:
    return _at_step(page, posted, uid, finish.restore, "Brought back")


@router.get("/panels/{uid}/finish/tests")
def form_of_test(page: Page, uid: str, method: str = "") -> Response:
    """The full form of a test of the picture."""
    start = {"tested_at": as_text(page.now, page.zone)}
    start |= {"method": method} if method in finish_words.METHODS else {}
    return page.render("finish/test.html", {**_test_context(page, uid), "form": FormState(values=start)})


@router.post("/panels/{uid}/finish/tests")
def log(page: Page, posted: Posted, uid: str) -> Response:
    """Note a test. A press of one button sends what it showed alone: then it is now."""
    shown = FormPage("finish/test.html", lambda: _test_context(page, uid))
    leads_to = local_path(posted.get(NEXT), f"/panels/{uid}/finish#tests")

    def act(session: Session, command: FinishTestCreate) -> Done:
        at = exactly(command.tested_at, page.zone, page.now)
        test = finish_tests.log(session, page.actor, uid, command.model_copy(update={"tested_at": at}), page.now)
        _, panel = finish_tests.panel_of(session, page.actor, test.uid)
        return Done(f"{finish_words.test_words(test.method, test.result)}, on “{panel.title}”", leads_to)

    return save(page, without(posted, NEXT), Reads(FinishTestCreate), shown, act)


@router.get("/finish-tests/{uid}/edit")
def edit_test(page: Page, uid: str) -> Response:
    context = _one_test_context(page, uid)
    with page.db.read() as session:
        stored = finish_tests.public(session, finish_tests.get(session, page.actor, uid))
    return page.render("finish/edit_test.html", {**context, "form": FormState.of(stored, page.zone)})


@router.post("/finish-tests/{uid}/edit")
def change_test(page: Page, posted: Posted, uid: str) -> Response:
    context = _one_test_context(page, uid)

    def act(session: Session, command: FinishTestUpdate) -> Done:
        at = exactly(command.tested_at, page.zone, finish_tests.get(session, page.actor, uid).tested_at)
        finish_tests.update(session, page.actor, uid, command.model_copy(update={"tested_at": at}), page.now)
        return Done(f"Corrected a test of “{context['title']}”", f"{context['back']}#tests")

    return save(page, posted, Reads(FinishTestUpdate), FormPage("finish/edit_test.html", lambda: context), act)


@router.post("/finish-tests/{uid}/mistaken")
def mistaken(page: Page, posted: Posted, uid: str) -> Response:
    return _at_test(page, posted, uid, finish_tests.archive, "Marked as mistaken:")


@router.post("/finish-tests/{uid}/restore")
def count_again(page: Page, posted: Posted, uid: str) -> Response:
    return _at_test(page, posted, uid, finish_tests.restore, "Counts again:")


def _too_early(step: StepFact, gate: GateFact, page: PageRequest) -> str:
    """What the rules say of a step that is planned for a day before the gate opens; "" for nothing."""
    if gate.opens_on is None or step.planned_on is None or step.planned_on >= gate.opens_on:
        return ""
    return finish_words.opens_words(gate, page.today)


def _words() -> dict[str, Any]:
    """What templates of the finish call things."""
    return {"ACTIONS": action_words.ACTIONS, "METHODS": finish_words.METHODS, "RESULTS": finish_words.RESULTS}


def _label(session: Session, page: PageRequest, uid: str, did: str) -> str:
    step, panel = finish.panel_of(session, page.actor, uid)
    named = action_words.ACTIONS[step.action]
    return f"{named.done}: “{panel.title}”" if did == "Did" else f"{did} {named.name.lower()} of “{panel.title}”"


def _at_step(page: PageRequest, posted: FormData, uid: str, verb: Callable[..., Any], did: str) -> Response:
    """One of the buttons beside a step."""
    with page.db.read() as session:
        panel_uid = finish.panel_of(session, page.actor, uid)[1].uid
    back = f"/panels/{panel_uid}/finish"

    def act(session: Session) -> Done:
        verb(session, page.actor, uid)
        return Done(_label(session, page, uid, did), f"{back}#steps")

    return change_by_button(page, posted, act, back)


def _at_test(page: PageRequest, posted: FormData, uid: str, verb: Callable[..., Any], did: str) -> Response:
    """One of the buttons beside a test."""
    back = _one_test_context(page, uid)["back"]

    def act(session: Session) -> Done:
        test = verb(session, page.actor, uid)
        return Done(f"{did} {finish_words.test_words(test.method, test.result)}", f"{back}#tests")

    return change_by_button(page, posted, act, back)


def _new_context(page: PageRequest, panel_uid: str, action: str, is_done: bool) -> Mapping[str, Any]:
    """What the form of a new step stands in. Raises ``NotFound``."""
    moment = board.moment_of(page.now, page.zone)
    with page.db.read() as session:
        facts = board.panel_page(session, page.actor, panel_uid, page.now, page.zone)
        known = action if action in ACTIONS else "frame"
        gate = finish.gate(session, page.actor, panel_uid, (known, None), moment)
    plain = f"/panels/{panel_uid}/finish/steps"
    return {
        "title": facts.panel.title,
        "action": f"{plain}?done=1" if is_done else plain,
        "back": f"/panels/{panel_uid}/finish",
        "is_done": is_done,
        "is_new": True,
        "step_name": action_words.ACTIONS[known].name,
        **_judged(page, gate, facts.panel.top),
        **_words(),
    }


def _judged(page: PageRequest, gate: Any, below: Any) -> dict[str, Any]:
    """What the rules say of it now, as the forms show it."""
    return {
        "judged": gate.verdict,
        "below": below,
        "first": finish_words.first_words(gate, page.today),
        "opens": finish_words.opens_words(gate, page.today),
        "helps": lambda found, below: standing_words.remedy_words(found, below, page.today, page.zone),
    }


def _step_context(page: PageRequest, uid: str, action: str) -> tuple[dict[str, Any], FinishStepUpdate]:
    """What the form of a step stands in, and the step as its form starts from it. Raises ``NotFound``."""
    moment = board.moment_of(page.now, page.zone)
    with page.db.read() as session:
        step, panel = finish.panel_of(session, page.actor, uid)
        stored = finish.public(session, step)
        found = board.one_panel(session, page.actor, panel.uid, moment)
        gate = finish.gate(session, page.actor, panel.uid, (step.action, step.transit_c), moment)
        context = {
            "title": panel.title,
            "uid": uid,
            "step_name": action_words.ACTIONS[step.action].name,
            "kind": step.action,
            "is_done": step.done_at is not None,
            "is_new": False,
            "kept": overrides.from_json(step.verdict_json),
            "lines": partial(lines_of, zone=page.zone),
            "changes": history.of_record(session, page.actor, "finish_step", uid),
            "action": action,
            "back": f"/panels/{panel.uid}/finish",
        }
    return context | _judged(page, gate, found.top if found else None) | _words(), stored


def _test_context(page: PageRequest, panel_uid: str) -> dict[str, Any]:
    with page.db.read() as session:
        facts = board.panel_page(session, page.actor, panel_uid, page.now, page.zone)
    back = f"/panels/{panel_uid}/finish"
    return {
        "title": facts.panel.title,
        "has_paint": facts.panel.top is not None,
        "action": f"{back}/tests",
        "back": back,
        **_words(),
    }


def _one_test_context(page: PageRequest, uid: str) -> dict[str, Any]:
    with page.db.read() as session:
        test, panel = finish_tests.panel_of(session, page.actor, uid)
        return {
            "title": panel.title,
            "uid": uid,
            "is_mistaken": test.archived_at is not None,
            "lines": partial(lines_of, zone=page.zone),
            "changes": history.of_record(session, page.actor, "finish_test", uid),
            "action": f"/finish-tests/{uid}/edit",
            "back": f"/panels/{panel.uid}/finish",
            **_words(),
        }
