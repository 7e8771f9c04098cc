"""The studio's settings, the limits of the rules, ends of sittings, stacks put on a panel, layers moved."""

from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import Field
from sqlmodel import Session
from starlette.responses import JSONResponse, Response

from server.formats.studio_json import (
    AppliedOut,
    EndOfSitting,
    EndsOfSittings,
    LimitOut,
    LimitsOut,
    MixLeft,
    PaintedThenOut,
    Way,
)
from server.services import layers, rule_limits, sitting_ends, stack_plans, studios
from server.services.errors import Conflict
from server.services.fields import Command
from server.services.rule_limits import Limit
from server.services.sendings import added_before
from server.services.sitting_ends import EndedSitting, SittingEndCreate
from server.services.stack_plans import StackApply
from server.services.studios import StudioUpdate
from server.store.tables import Layer, SittingEnd
from server.web.api.record_schemas import ETAG, KEY, body_of, problems, schema_ref
from server.web.api.records import After, Nothing, Uid, answer_of
from server.web.api.resources import resource_of
from server.web.api.sent import Sending, VersionWanted
from server.web.deps import Page, PageRequest
from server.web.errors import problem

router = APIRouter(tags=["studio"])
Many = Annotated[int, Query(ge=1, le=200, description="How many at most, newest first")]


class LimitSet(Command):
    value: Annotated[float, Field(description="Within low and high of the limit")]


class LayerMove(Command):
    way: Annotated[Way, Field(description="Swap it with the planned layer next to it")]


BODIES = (StudioUpdate, LimitSet, LayerMove, StackApply, SittingEndCreate)
KEYED = {"parameters": [KEY]}  # of a change without a body

SETTINGS: dict[int | str, Any] = {
    200: {"description": "The settings, with their version", "content": schema_ref("StudioUpdate"), "headers": ETAG}
}


@router.get("/studio", summary="The studio's settings", responses={**SETTINGS, **problems()})
def read_studio(page: Page) -> Response:
    """Its name, clock, how sure "ready" wants to be, how long a panel may wait in a plan to share a mix, drops to the
    millilitre, units."""
    return _studio(page)


@router.put(
    "/studio",
    summary="Change the settings: all of them",
    responses={**SETTINGS, **problems(400, 412, 413, 415, 422, 428)},
    openapi_extra=body_of("StudioChange"),
)
def change_studio(page: Page, given: Sending, version: VersionWanted) -> Response:
    """With the version that was read in If-Match. They are put in place of those before as a whole: what is left out
    goes back to its default, so send all that was read."""
    command = given.command(StudioUpdate, version=version)
    try:
        with page.api_unit(given.key) as work:
            if not work.repeated:
                studios.update(work.session, page.actor, command)
                work.label, work.location = "Changed the studio's settings", "/studio"
    except Conflict:
        return problem(412, "The settings were changed since. Read them again.")
    return _studio(PageRequest(page.request, page.db, page.now))


def _studio(page: PageRequest) -> Response:
    with page.db.read() as session:
        found = studios.public(studios.get(session, page.actor)).model_dump(mode="json")
    return JSONResponse(found, headers={"ETag": f'"{found["version"]}"'})


@router.get("/limits", summary="The limits of the rules of soundness", responses=problems())
def limits(page: Page) -> LimitsOut:
    """Each with its default, its bounds, what it means, and the rules that look at it."""
    return limits_out(page)


@router.put(
    "/limits/{name}",
    summary="Set one limit",
    response_model=LimitsOut,
    responses=problems(400, 404, 413, 415, 422),
    openapi_extra=body_of("LimitSet"),
)
def set_limit(page: Page, name: str, given: Sending) -> Any:
    """Refused where it would pass another limit that it must stay beside."""
    command = given.command(LimitSet)

    def act(session: Session) -> str:
        rule_limits.set_one(session, page.actor, name, command.value)
        return f"Set the limit {name}"

    return _change_limits(page, given.key, act)


@router.post(
    "/limits/{name}/reset",
    summary="Put one limit back to its default",
    response_model=LimitsOut,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra=KEYED,
)
def reset_limit(page: Page, name: str, given: Sending) -> Any:
    """Refused where it would pass another limit."""
    _check_empty(given)

    def act(session: Session) -> str:
        rule_limits.reset_one(session, page.actor, name)
        return f"Put the limit {name} back to the default"

    return _change_limits(page, given.key, act)


def _change_limits(page: PageRequest, key: str | None, act: Any) -> Any:
    with page.api_unit(key) as work:
        if not work.repeated:
            work.label, work.location = act(work.session), "/rules"
    return limits_out(page)


def limits_out(page: PageRequest) -> LimitsOut:
    with page.db.read() as session:
        return LimitsOut(items=tuple(limit_out(each) for each in rule_limits.all_limits(session, page.actor)))


def limit_out(each: Limit) -> LimitOut:
    return LimitOut(**{name: getattr(each, name) for name in LimitOut.model_fields})


def _check_empty(given: Sending) -> None:
    if given.body is not None:
        given.command(Nothing)


@router.get("/sittings", summary="Ends of sittings, newest first", responses=problems(422))
def sittings(page: Page, limit: Many = 30, after: After = None) -> EndsOfSittings:
    """What was done with brushes, lids and rags, and the mixes that were left."""
    with page.db.read() as session:
        found = sitting_ends.recent(session, page.actor, limit + 1, after)
    shown = tuple(_sitting(each) for each in found[:limit])
    return EndsOfSittings(items=shown, next_after=shown[-1].uid if len(found) > limit else None)


@router.post(
    "/sittings",
    summary="End a sitting",
    status_code=201,
    response_model=EndOfSitting,
    responses=problems(400, 409, 413, 415, 422),
    openapi_extra=body_of("SittingEndCreate"),
)
def end_sitting(page: Page, given: Sending) -> Any:
    """Log what was painted as planned, and say that brushes, lids and rags are seen to."""
    command = given.command(SittingEndCreate)
    with page.api_unit(given.key) as work:
        if work.repeated:
            (uid,) = added_before(work, SittingEnd)
        else:
            uid = sitting_ends.create(work.session, page.actor, command).uid
            work.label, work.location = "Ended the sitting", "/"
    return _one_sitting(page, uid)


@router.post(
    "/sittings/{uid}/archive",
    summary="It was not ended after all",
    response_model=EndOfSitting,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra=KEYED,
)
def archive_sitting(page: Page, uid: Uid, given: Sending) -> Any:
    """What it covered wants to be seen to again."""
    return _turn(page, given, uid, sitting_ends.archive, "Took back the end of a sitting")


@router.post(
    "/sittings/{uid}/restore",
    summary="The end of a sitting counts again",
    response_model=EndOfSitting,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra=KEYED,
)
def restore_sitting(page: Page, uid: Uid, given: Sending) -> Any:
    """Bring an archived one back."""
    return _turn(page, given, uid, sitting_ends.restore, "The end of the sitting counts again")


def _turn(page: PageRequest, given: Sending, uid: str, does: Any, label: str) -> EndOfSitting:
    _check_empty(given)
    with page.api_unit(given.key) as work:
        if not work.repeated:
            does(work.session, page.actor, uid)
            work.label, work.location = label, "/sittings"
    return _one_sitting(page, uid)


def _one_sitting(page: PageRequest, uid: str) -> EndOfSitting:
    with page.db.read() as session:
        return _sitting(sitting_ends.ended(session, page.actor, uid))


def _sitting(each: EndedSitting) -> EndOfSitting:
    end = each.end
    return EndOfSitting(
        uid=end.uid,
        ended_at=end.ended_at,
        archived_at=end.archived_at,
        rags=end.rags,
        brushes=end.brushes,
        lids=end.lids,
        note=end.note,
        painted=tuple(
            PaintedThenOut(panel_uid=layer.panel_uid, title=layer.title, kind=layer.kind) for layer in each.painted
        ),
        mixes=tuple(MixLeft(label=label, left_ml=left, kept_in=kept) for label, left, kept in each.mixes),
    )


@router.post(
    "/stacks/{uid}/apply",
    summary="Plan a stack's layers on a panel",
    status_code=201,
    response_model=AppliedOut,
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra=body_of("StackApply"),
)
def apply_stack(page: Page, uid: Uid, given: Sending) -> Any:
    """On top of what is there; with other mixes where they are given."""
    command = given.command(StackApply)
    with page.api_unit(given.key) as work:
        if work.repeated:
            made = added_before(work, Layer)
        else:
            panel, planned = stack_plans.apply(work.session, page.actor, uid, command)
            made = [layer.uid for layer in planned]
            work.label, work.location = f"Planned {len(made)} layers on “{panel.title}”", f"/panels/{panel.uid}"
    return AppliedOut(panel_uid=command.panel_uid, layer_uids=tuple(made))


@router.post(
    "/layers/{uid}/move",
    summary="Move a planned layer up or down",
    responses=problems(400, 404, 409, 413, 415, 422),
    openapi_extra=body_of("LayerMove"),
)
def move_layer(page: Page, uid: Uid, given: Sending) -> Response:
    """Swap it with the planned layer next to it."""
    command = given.command(LayerMove)
    with page.api_unit(given.key) as work:
        if not work.repeated:
            layer = layers.move(work.session, page.actor, uid, command.way)
            work.label, work.location = f"Moved “{layer.kind}” {command.way}", "/panels"
    with page.db.read() as session:
        return answer_of(session, resource_of("layers"), layers.get(session, page.actor, uid))
