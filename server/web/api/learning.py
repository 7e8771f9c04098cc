"""What was learned from touch tests: the report, its promises and doubtful tests, the choice, what to press next."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session
from starlette.responses import Response

from server.formats.learning_json import (
    CalibrationOut,
    CorrectionOut,
    DoubtfulOut,
    DoubtfulTestsOut,
    LearnedEffectOut,
    LearnedPairOut,
    LearningChangeOut,
    LearningOut,
    NextPressesOut,
    NextPressOut,
    PromiseOut,
    PromisePressOut,
    PromisesOut,
)
from server.services import last_wet, learning_choice, learning_report
from server.services.last_wet import SeenWet
from server.services.learning_choice import ChoiceUpdate
from server.services.learning_report import LearningReport, PromiseFact
from server.services.next_press import NextPress, next_presses
from server.services.sendings import added_before
from server.store.tables import TouchTest
from server.web import learning_words
from server.web.api import doing
from server.web.api.doing import Told, changing
from server.web.api.record_schemas import problems, schema_ref
from server.web.api.records import After, Limit, Uid, answer_of
from server.web.api.resources import resource_of
from server.web.api.sent import Sending, Sent, VersionSeen, hold_to
from server.web.api.slices import slice_of
from server.web.deps import Page, PageRequest

router = APIRouter(tags=["learning"])
BODIES = (ChoiceUpdate, SeenWet)
SEEN: dict[str, Any] = changing("When a layer was last seen wet", "SeenWet", status=201)
SEEN["responses"] = {201: {"description": "Noted", "content": schema_ref("TouchTest")}, **SEEN["responses"]}


@router.get("/learning", summary="How good the dates have been, and what was learned", responses=problems())
def report(page: Page) -> LearningOut:
    """Counts, calibration, effects by pigment, medium and place, and the choice that stands."""
    return _report(page)


@router.put(
    "/learning",
    response_model=LearningOut,
    **changing("Learn, keep what is learned, or the book", "ChoiceUpdate", held=True),
)
def choose(page: Page, given: Sending, seen: VersionSeen) -> Any:
    """ "on": every test teaches; "frozen": what is known stays; "off": dates are the book's."""
    command = given.command(ChoiceUpdate)

    def act(session: Session) -> str:
        learning_choice.choose(session, page.actor, command)
        return f"Learning: {command.mode}"

    return _changed(page, given, seen, act)


@router.post("/learning/anew", response_model=LearningOut, **changing("Begin to learn anew", held=True))
def begin_anew(page: Page, given: Sending, seen: VersionSeen) -> Any:
    """Only tests from now on teach; those there are stay."""
    doing.check_empty(given)

    def act(session: Session) -> str:
        learning_choice.begin_anew(session, page.actor)
        return "Began to learn anew: only tests from now on teach"

    return _changed(page, given, seen, act)


@router.post("/learning/all", response_model=LearningOut, **changing("Let all tests teach again", held=True))
def count_all(page: Page, given: Sending, seen: VersionSeen) -> Any:
    """Those from before learning was begun anew as well."""
    doing.check_empty(given)

    def act(session: Session) -> str:
        learning_choice.count_all_again(session, page.actor)
        return "All touch tests teach again"

    return _changed(page, given, seen, act)


@router.get("/learning/promises", summary="Promises that were made, and what was pressed", responses=problems(422))
def promises(page: Page, limit: Limit = 50, after: After = None) -> PromisesOut:
    """By the time of painting. ``after`` names a layer."""
    with page.db.read() as session:
        found = learning_report.report(session, page.actor, page.zone).promises
    shown, more = slice_of(found, lambda each: each.layer_uid, limit, after)
    return PromisesOut(items=tuple(_promise(each) for each in shown), next_after=more)


@router.get("/learning/doubtful", summary="Tests that are more likely wrong than right", responses=problems(422))
def doubtful(page: Page, limit: Limit = 50, after: After = None) -> DoubtfulTestsOut:
    """``after`` names a test. Mark one as mistaken with POST /touch-tests/{uid}/archive, or as right with /sure."""
    with page.db.read() as session:
        found = learning_report.report(session, page.actor, page.zone).doubtful
    shown, more = slice_of(found, lambda each: each.uid, limit, after)
    return DoubtfulTestsOut(
        next_after=more,
        items=tuple(
            DoubtfulOut(
                test_uid=each.uid,
                layer_uid=each.layer_uid,
                title=each.title,
                kind=each.kind,
                state=each.state.value,
                pressed_at=each.pressed_at,
                chance=each.chance,
            )
            for each in shown
        ),
    )


@router.get("/learning/presses", summary="What to press next", responses=problems(422))
def presses(page: Page, limit: Limit = 50, after: After = None) -> NextPressesOut:
    """The layers that are drying, the next to press first. ``after`` names a layer."""
    with page.db.read() as session:
        found = next_presses(session, page.actor, page.now, page.zone)
    shown, more = slice_of(found, lambda each: each.layer_uid, limit, after)
    return NextPressesOut(items=tuple(_next(each) for each in shown), next_after=more)


@router.post("/layers/{uid}/seen-wet", **SEEN)
def seen_wet(page: Page, uid: Uid, given: Sending) -> Response:
    """Where its first test found it dry already: kept as a test that was seen, not pressed."""
    command = given.command(SeenWet)
    with page.api_unit(given.key) as work:
        if work.repeated:
            made_uid = added_before(work, TouchTest)[0]
        else:
            made_uid = last_wet.answer(work.session, page.actor, uid, command).uid
            work.label, work.location = "Noted when a layer was last seen wet", "/learning"
    resource = resource_of("touch-tests")
    with page.db.read() as session:
        return answer_of(session, resource, resource.service.get(session, page.actor, made_uid), 201)


def _changed(page: PageRequest, given: Sent, seen: int | None, act: Callable[[Session], str]) -> LearningOut:
    def held(session: Session) -> Told:
        if seen is not None:
            hold_to(learning_choice.version(session, page.actor, lock=True), seen)
        return act(session), "/learning"

    doing.do_once(page, given, held)
    return _report(page)


def _report(page: PageRequest) -> LearningOut:
    with page.db.read() as session:
        found = learning_report.report(session, page.actor, page.zone)
        return _told(found, learning_choice.version(session, page.actor))


def _told(found: LearningReport, version: int) -> LearningOut:
    fixed = found.correction
    return LearningOut(
        version=version,
        mode=found.choice.mode,
        frozen_at=found.choice.frozen_at,
        since_at=found.choice.since_at,
        tests=found.tests,
        layers=found.layers,
        unanchored=found.unanchored,
        scored=found.scored,
        hits=found.hits,
        misses=found.misses,
        gain_nats=found.gain_nats,
        calibration=_calibration(found.calibration),
        recent=_calibration(found.recent),
        correction=None
        if fixed is None
        else CorrectionOut(delta=fixed.delta, kappa=fixed.kappa, later=fixed.later, layers=fixed.layers),
        change=None if found.change is None else LearningChangeOut(mean=found.change[0], sd=found.change[1]),
        effects=tuple(
            LearnedEffectOut(
                name=each.name,
                words=learning_words.effect_name(each.name, found.names),
                mean=each.mean,
                sd=each.sd,
                prior_sd=each.prior_sd,
                learned=each.learned,
            )
            for each in found.effects
        ),
        pairs=tuple(
            LearnedPairOut(
                first=each.first,
                second=each.second,
                correlation=each.correlation,
                mean=each.mean,
                learned=each.learned,
            )
            for each in found.pairs
        ),
    )


def _calibration(found: Any) -> CalibrationOut | None:
    if found is None:
        return None
    return CalibrationOut(**{name: getattr(found, name) for name in CalibrationOut.model_fields})


def _promise(each: PromiseFact) -> PromiseOut:
    return PromiseOut(
        layer_uid=each.layer_uid,
        panel_uid=each.panel_uid,
        title=each.title,
        kind=each.kind,
        painted_at=each.painted_at,
        low_effective_d=each.low_d,
        middle_effective_d=each.middle_d,
        high_effective_d=each.high_d,
        held=each.held,
        scored=each.scored,
        presses=tuple(
            PromisePressOut(
                test_uid=press.uid,
                effective_d=press.day,
                state=press.state.value,
                pressed_at=press.pressed_at,
                is_doubtful=press.is_doubtful,
            )
            for press in each.presses
        ),
    )


def _next(each: NextPress) -> NextPressOut:
    return NextPressOut(
        panel_uid=each.panel_uid,
        layer_uid=each.layer_uid,
        title=each.title,
        kind=each.kind,
        at=each.press.at,
        chance=each.press.chance,
        dry_low=each.span.low,
        dry_central=each.span.central,
        dry_high=each.span.high,
    )
