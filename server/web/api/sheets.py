"""What the pages of a panel tell beside its record: its finish, where it was, its sheet as a file, its purging; and the
history of any record."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from server.formats import record as formats
from server.formats.rooms_json import PurgeableOut, Purged, StayOut, StaysOut, TubeOut, TubesOut
from server.formats.sheets_json import (
    FieldChangeOut,
    GateOut,
    GatesOut,
    RecordEntryOut,
    RecordHistoryOut,
    RowChangeOut,
)
from server.services import finish, history, panel_moves, panel_record, panels, purging
from server.services.board import moment_of
from server.services.board.tubes import tubes
from server.services.fields import Command, Text200
from server.services.history import HistoryEntry
from server.web.api import doing
from server.web.api.boards import days_out, verdict_out
from server.web.api.doing import Told, changing
from server.web.api.history import Before
from server.web.api.record_schemas import problems, schema_ref
from server.web.api.records import After, Limit, Uid
from server.web.api.sent import Sending
from server.web.api.slices import slice_of
from server.web.archive_files import worded
from server.web.deps import Page, PageRequest

router = APIRouter(tags=["sheets"])
TEXT = "text/plain"
Table = Annotated[str, Path(description='The kind as the history names it, such as "panel", "layer", "touch_test"')]


class PanelPurge(Command):
    """The title as it stands on the panel: purging asks twice."""

    title: Text200


BODIES = (PanelPurge,)


@router.get("/panels/{uid}/finish", summary="What may be done to a picture", responses=problems(404, 422))
def finish_of(page: Page, uid: Uid) -> GatesOut:
    """Oiling out, varnish, frame, wrap, stacking, transport: each with its verdict now and its first days."""
    moment = moment_of(page.now, page.zone)
    with page.db.read() as session:
        panels.get(session, page.actor, uid)
        found = finish.gates(session, page.actor, uid, moment)
    gates = tuple(
        GateOut(
            action=str(getattr(each.action, "value", each.action)),
            verdict=verdict_out(each.verdict),
            first=days_out(each.first),
            opens_on=each.opens_on,
            no_forecast=each.no_forecast,
        )
        for each in found
    )
    return GatesOut(at=moment.at, gates=gates)


@router.get("/panels/{uid}/stays", summary="Where a panel is and was", responses=problems(404, 422))
def stays(page: Page, uid: Uid) -> StaysOut:
    """Every place, the first one first."""
    with page.db.read() as session:
        found = panel_moves.stays(session, panels.get(session, page.actor, uid))
    return StaysOut(
        items=tuple(
            StayOut(place_uid=each.place.uid, place=each.place.name, since=each.since, move_uid=each.uid)
            for each in found
        )
    )


@router.get(
    "/panels/{uid}/record",
    summary="The record of a panel",
    response_class=Response,
    responses={200: {"description": "The record", "content": schema_ref("PanelRecord")}, **problems(404, 422)},
)
def record(page: Page, uid: Uid) -> Response:
    """What it is made of, layer by layer, as it was when they went on: the file of its page."""
    return Response(formats.to_json(_record(page, uid)), media_type="application/json")


@router.get(
    "/panels/{uid}/record.txt",
    summary="The record of a panel as text",
    response_class=Response,
    responses={
        200: {"description": "The record", "content": {TEXT: {"schema": {"type": "string"}}}},
        **problems(404, 422),
    },
)
def record_as_text(page: Page, uid: Uid) -> Response:
    """To print or to paste."""
    return Response(formats.to_text(_record(page, uid)), media_type=TEXT)


@router.get("/panels/{uid}/purge", summary="What purging a panel takes away", responses=problems(404, 409, 422))
def look_at_purge(page: Page, uid: Uid) -> PurgeableOut:
    """Before anything goes. 409 while the panel is in use: only what is archived can be purged."""
    with page.db.read() as session:
        found = purging.look(session, page.actor, uid)
    return PurgeableOut(**{name: getattr(found, name) for name in PurgeableOut.model_fields})


@router.post("/panels/{uid}/purge", response_model=Purged, **changing("Take a panel away for ever", "PanelPurge"))
def purge(page: Page, uid: Uid, given: Sending) -> Any:
    """With its layers, tests and their history. There is no way back."""
    command = given.command(PanelPurge)

    def act(session: Session) -> Told:
        purging.purge(session, page.actor, uid, command.title)
        return "Purged a panel with all that belonged to it", "/panels"

    doing.do_once(page, given, act)
    return Purged(purged=True)


@router.get("/history/of/{kind}/{uid}", summary="What was changed of one record", responses=problems(404, 422))
def history_of(page: Page, kind: Table, uid: Uid, limit: Limit = 50, before: Before = None) -> RecordHistoryOut:
    """Newest first, with every field before and after."""
    with page.db.read() as session:
        found = history.of_record(session, page.actor, kind, uid, history.Newest(limit + 1, before))
    shown = tuple(_entry(each) for each in found[:limit])
    return RecordHistoryOut(items=shown, next_before=shown[-1].uid if len(found) > limit else None)


@router.get("/tubes", summary="How full the tubes are against what is planned", responses=problems(422))
def all_tubes(page: Page, limit: Limit = 50, after: After = None) -> TubesOut:
    """What the layers to come need of each, and the first day it is not enough for."""
    with page.db.read() as session:
        found = tubes(session, page.actor, moment_of(page.now, page.zone))
    shown, more = slice_of(tuple(found.items()), lambda each: each[0], limit, after)
    return TubesOut(
        next_after=more,
        items=tuple(
            TubeOut(
                paint_uid=uid,
                label=each.label,
                left_ml=each.left_ml,
                planned_ml=each.planned_ml,
                undated_ml=each.undated_ml,
                runs_low=each.runs_low,
                runs_out_on=each.runs_out.on if each.runs_out else None,
            )
            for uid, each in shown
        ),
    )


def _record(page: PageRequest, uid: str) -> formats.PanelRecord:
    with page.db.read() as session:
        facts = panel_record.read(session, page.actor, uid, page.now, page.zone)
    return worded(facts, page.request.app.state.templates)


def _entry(each: HistoryEntry) -> RecordEntryOut:
    return RecordEntryOut(
        uid=each.uid,
        at=each.at,
        actor=each.actor,
        label=each.label,
        action=each.action,
        is_undone=each.is_undone,
        rows=tuple(
            RowChangeOut(
                table=row.table,
                what=row.what,
                fields=tuple(FieldChangeOut(name=one.name, before=one.before, after=one.after) for one in row.fields),
            )
            for row in each.rows
        ),
    )
