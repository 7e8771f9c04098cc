"""Questions about the studio's records that change nothing: what if, a mix on the palette, a stack before it is
painted, a layer by the book. They are sent as a body, since they hold lists."""

from collections.abc import Mapping
from math import isfinite
from typing import Any

from fastapi import APIRouter

from server.formats.questions_json import (
    BesideBookOut,
    CheckedLayerOut,
    FactorOut,
    LayerDatesOut,
    LearnedShiftOut,
    MixingOut,
    ReasonOut,
    RegionDatesOut,
    SoonerWayOut,
    StackCheckedOut,
    TimePartsOut,
    WhatIfOut,
)
from server.services import mixing, on_panel, stack_checks, stack_plans, what_if
from server.services.board import moment_of
from server.services.board.beside_book import BesideBook, beside_book
from server.services.errors import Refused
from server.services.mixing import MixingQuestion
from server.services.stack_checks import StackBoard, StackLayerFact, StackQuestion
from server.services.what_if import WhatIfAnswer, WhatIfQuestion
from server.web.api.boards import days_out, severity_out, span_out, stages_out, verdict_out
from server.web.api.doing import asking
from server.web.api.mixing_out import mixing_out
from server.web.api.record_schemas import problems
from server.web.api.records import Uid
from server.web.api.sent import Sending
from server.web.deps import Page

router = APIRouter(tags=["questions"])
BODIES = (WhatIfQuestion, MixingQuestion, StackQuestion)
NO_DATES = "No date can be given for this layer: it has no mix that dries as oil."


@router.post(
    "/layers/{uid}/what-if", response_model=WhatIfOut, **asking("What if it were laid otherwise?", "WhatIfQuestion")
)
def ask_what_if(page: Page, uid: Uid, given: Sending) -> Any:
    """The layer's dates as it is and as it is tried out, why, and what would have it dry sooner."""
    question = given.command(WhatIfQuestion)
    moment = moment_of(page.now, page.zone)
    with page.db.read() as session:
        here = on_panel.of_layer(session, page.actor, uid)
        found = what_if.layer_now(session, page.actor, here, moment)
        if found is None:
            raise Refused(NO_DATES)
        layer, rows = found
        return _what_if(what_if.work_out(layer, rows, question, moment.zone))


@router.post("/mixing", response_model=MixingOut, **asking("A mix on the palette", "MixingQuestion"))
def ask_mixing(page: Page, given: Sending) -> Any:
    """What it is made of, how it dries, what the rules say of it over a panel; with ``find`` sound mixes."""
    question = given.command(MixingQuestion)
    with page.db.read() as session:
        answer = mixing.work_out(session, page.actor, question, moment_of(page.now, page.zone))
    return mixing_out(answer)


@router.post(
    "/stacks/{uid}/check",
    response_model=StackCheckedOut,
    **asking("Check a stack before it is painted", "StackQuestion"),
)
def check_stack(page: Page, uid: Uid, given: Sending) -> Any:
    """On a panel or on a bare ground: layer by layer when it may go on, and what the rules say."""
    question = given.command(StackQuestion)
    with page.db.read() as session:
        plan = stack_plans.get(session, page.actor, uid)
        board = stack_checks.check_stack(session, page.actor, plan, question, moment_of(page.now, page.zone))
    return _checked(board)


@router.get("/layers/{uid}/book", summary="A layer by the book and as learned", responses=problems(404, 422))
def book(page: Page, uid: Uid) -> BesideBookOut:
    """Both ranges side by side, and what makes the difference."""
    with page.db.read() as session:
        return _beside(beside_book(session, page.actor, uid, page.now, page.zone))


def _what_if(answer: WhatIfAnswer) -> WhatIfOut:
    return WhatIfOut(
        layer_uid=answer.layer.uid,
        panel_uid=answer.layer.panel_uid,
        is_painted=answer.layer.is_painted,
        laid_at=answer.layer.laid_at,
        target=answer.target.value,
        now=_dates(answer.now),
        tried=None if answer.tried is None else _dates(answer.tried),
        regions=tuple(_region(name, ranges) for name, ranges in (answer.tried or answer.now).by_region),
        ways=tuple(SoonerWayOut(what=way.what, days=span_out(way.days), sooner_d=way.sooner_d) for way in answer.ways),
        culprit=answer.culprit,
        parts=tuple(
            TimePartsOut(
                name=part.name,
                base_d=part.base_d,
                touch_d=part.touch_d,
                factors=tuple(FactorOut(name=each.name, factor=each.factor, why=each.why) for each in part.factors),
            )
            for part in answer.parts
        ),
        reasons=tuple(ReasonOut(name=each.name, times=each.times) for each in answer.reasons),
        in_hindsight=answer.in_hindsight,
    )


def _dates(dates: Any) -> LayerDatesOut:
    return LayerDatesOut(
        central_d={stage.value: each.p50_d for stage, each in dates.ranges.items() if isfinite(each.p50_d)},
        days=stages_out(dates.stages),
    )


def _region(name: str, ranges: Mapping[Any, Any]) -> RegionDatesOut:
    def of(percentile: str) -> dict[Any, float]:
        found = {stage.value: getattr(each, percentile) for stage, each in ranges.items()}
        return {stage: value for stage, value in found.items() if isfinite(value)}

    return RegionDatesOut(name=name, low_d=of("p10_d"), central_d=of("p50_d"), high_d=of("p90_d"))


def _checked(board: StackBoard) -> StackCheckedOut:
    return StackCheckedOut(
        title=board.title,
        panel_uid=board.panel_uid,
        place=board.place,
        is_finished=board.is_finished,
        below=board.below,
        layers=tuple(_layer(layer) for layer in board.layers),
        worst=None if board.worst is None else severity_out(board.worst),
        finish=days_out(board.finish),
    )


def _layer(layer: StackLayerFact) -> CheckedLayerOut:
    return CheckedLayerOut(
        number=layer.number,
        kind=layer.kind,
        is_new=layer.is_new,
        wet_thickness_um=layer.wet_um,
        solvent_pct=layer.solvent_pct,
        mix=layer.mix,
        advice=layer.advice,
        may=days_out(layer.may),
        on=layer.on,
        touch=days_out(layer.touch),
        verdict=verdict_out(layer.verdict),
        held_by=layer.held_by,
        clear_on=layer.clear_on,
        no_forecast=layer.no_forecast,
    )


def _beside(found: BesideBook) -> BesideBookOut:
    shift = found.shift
    return BesideBookOut(
        layer_uid=found.here.layer.uid,
        start=found.start,
        is_painted=found.is_painted,
        chosen=found.chosen,
        book=stages_out(found.book.days),
        yours=stages_out(found.yours.days),
        shift=None
        if shift is None
        else LearnedShiftOut(
            whole=shift.whole, effects=dict(shift.effects), hardly=shift.hardly, change=shift.change, own=shift.own
        ),
    )
