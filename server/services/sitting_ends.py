"""The end of a sitting: what was painted, the mixes left, brushes and lids, and the rags, seen to once per sitting."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import Field
from sqlalchemy import and_, func, or_, select
from sqlmodel import Session, col

from server.services import layers, paints, records
from server.services.access import Actor, allow
from server.services.board import sitting as board_sitting
from server.services.board.facts import Moment, SittingFact
from server.services.board.snapshot import snapshot
from server.services.errors import Conflict, FieldError, Invalid, Refused
from server.services.fields import Command, Millilitres, ShortNote, Uid
from server.services.layer_commands import LayerPaint
from server.services.records import find_named
from server.services.unit import moment
from server.store.tables import KeptIn, Layer, Mix, Paint, Panel, Rags, SittingEnd, SittingMix

# Nobody sits for longer: what was painted earlier, in a sitting that nobody ended, is not told of the next one's end.
SITTING = timedelta(hours=24)
LeftMl = Annotated[float, Field(ge=0, le=10_000)]


class SittingLayer(Command):
    """A planned layer that was painted as planned; ``override_reason`` where a rule stops it."""

    layer_uid: Uid
    is_painted: bool = False
    version: Annotated[int, Field(ge=1, le=2_000_000_000)]
    override_reason: ShortNote = ""


class LeftMix(Command):
    """A mix that is left, and how it is kept."""

    mix_uid: Uid
    left_ml: LeftMl | None = None
    kept_in: KeptIn = "sealed"


class LeftTube(Command):
    """What the painter sees is left in a tube, whatever was worked out."""

    paint_uid: Uid
    left_ml: Millilitres


class SittingEndCreate(Command):
    """``rags`` is asked for: it is the acknowledgement. ``layers`` are logged as painted now; ``tubes`` corrects them
    after that."""

    layers: Annotated[tuple[SittingLayer, ...], Field(max_length=50)] = ()
    mixes: Annotated[tuple[LeftMix, ...], Field(max_length=50)] = ()
    tubes: Annotated[tuple[LeftTube, ...], Field(max_length=50)] = ()
    rags: Rags
    brushes: bool = False
    lids: bool = False
    note: ShortNote = ""


@dataclass(frozen=True, slots=True)
class PaintedThen:
    """A layer that was painted in a sitting, and its panel."""

    panel_uid: str
    title: str
    kind: str


@dataclass(frozen=True, slots=True)
class EndedSitting:
    """An end of a sitting with the mixes it left (label, millilitres, how kept) and what was painted in it: all that
    was painted since the end before it. ``painted`` is empty for an end that was taken back."""

    end: SittingEnd
    mixes: tuple[tuple[str, float | None, str], ...]
    painted: tuple[PaintedThen, ...]


def create(session: Session, actor: Actor, command: SittingEndCreate, now: datetime | None = None) -> SittingEnd:
    """End the sitting: log what was painted, and note that brushes, lids and rags are seen to.

    Raises ``Invalid`` and what ``layers.paint`` raises.
    """
    allow(actor, "create", None, SittingEnd)
    at = now or moment(session)
    for place, item in enumerate(command.layers):
        if item.is_painted:
            _paint(session, actor, (place, item), at)
    end = SittingEnd(
        studio_id=actor.studio_id,
        ended_at=at,
        covers_to=max(at, _last_painted(session, actor) or at),
        rags=command.rags,
        brushes=command.brushes,
        lids=command.lids,
        note=command.note,
    )
    session.add(end)
    session.flush()
    for place, left in enumerate(command.mixes):
        mix = records.find_named(session, actor, Mix, left.mix_uid, f"mixes.{place}.mix_uid")
        session.add(
            SittingMix(
                sitting_end_id=end.id or 0,
                position=place,
                mix_id=mix.id or 0,
                left_ml=left.left_ml,
                kept_in=left.kept_in,
            )
        )
    for place, seen in enumerate(command.tubes):
        _say_left(session, actor, (place, seen))
    session.flush()
    return end


def _say_left(session: Session, actor: Actor, item: tuple[int, LeftTube]) -> None:
    place, seen = item
    paint = records.find_named(session, actor, Paint, seen.paint_uid, f"tubes.{place}.paint_uid")
    try:
        paints.say_left(session, paint, seen.left_ml)
    except Invalid as fault:
        raise Invalid([FieldError(f"tubes.{place}.{error.field}", error.message) for error in fault.errors]) from None


def archive(session: Session, actor: Actor, uid: str) -> SittingEnd:
    """It was not ended after all: what it covered wants to be seen to again."""
    return records.archive(session, actor, SittingEnd, uid)


def restore(session: Session, actor: Actor, uid: str) -> SittingEnd:
    return records.restore(session, actor, SittingEnd, uid)


def get(session: Session, actor: Actor, uid: str) -> SittingEnd:
    return records.find(session, actor, SittingEnd, uid)


def all_open(session: Session, actor: Actor) -> list[SittingEnd]:
    return records.find_all(session, actor, SittingEnd)


def all_archived(session: Session, actor: Actor) -> list[SittingEnd]:
    return records.find_all(session, actor, SittingEnd, archived=True)


def recent(session: Session, actor: Actor, limit: int = 30, after_uid: str | None = None) -> list[EndedSitting]:
    """The last ends of sittings, the newest first, with the mixes that were left; ``after_uid`` asks for those that
    follow one in this order. Raises ``Invalid`` at ``after`` for one that is not there."""
    allow(actor, "read", None)
    query = select(SittingEnd).where(col(SittingEnd.studio_id) == actor.studio_id)
    if after_uid is not None:
        last = find_named(session, actor, SittingEnd, after_uid, "after")
        at = col(SittingEnd.ended_at)
        query = query.where(or_(at < last.ended_at, and_(at == last.ended_at, col(SittingEnd.id) < last.id)))
    newest = query.order_by(col(SittingEnd.ended_at).desc(), col(SittingEnd.id).desc()).limit(limit)
    return _told(session, actor, list(session.scalars(newest)))


def ended(session: Session, actor: Actor, uid: str) -> EndedSitting:
    """One end of a sitting with its mixes. Raises ``NotFound``."""
    return _told(session, actor, [get(session, actor, uid)])[0]


def _told(session: Session, actor: Actor, ends: list[SittingEnd]) -> list[EndedSitting]:
    mixes, painted = _mixes_of(session, ends), _painted_in(session, actor, ends)
    return [EndedSitting(end, tuple(mixes[end.id or 0]), tuple(painted[end.id or 0])) for end in ends]


def _mixes_of(session: Session, ends: list[SittingEnd]) -> dict[int, list[tuple[str, float | None, str]]]:
    left: dict[int, list[tuple[str, float | None, str]]] = {end.id or 0: [] for end in ends}
    rows = session.execute(
        select(col(SittingMix.sitting_end_id), col(Mix.label), col(SittingMix.left_ml), col(SittingMix.kept_in))
        .join(Mix, col(Mix.id) == col(SittingMix.mix_id))
        .where(col(SittingMix.sitting_end_id).in_(left))
        .order_by(col(SittingMix.sitting_end_id), col(SittingMix.position))
    )
    for row in rows:
        left[row[0]].append((row[1], row[2], row[3]))
    return left


def _painted_in(session: Session, actor: Actor, ends: list[SittingEnd]) -> dict[int, list[PaintedThen]]:
    """By the id of the end: a layer belongs to the first end that counts and covers the moment it was painted at."""
    painted: dict[int, list[PaintedThen]] = {end.id or 0: [] for end in ends}
    counting = sorted((end for end in ends if end.archived_at is None), key=lambda end: (end.covers_to, end.id or 0))
    if not counting:
        return painted
    oldest, covers_to = counting[0], col(SittingEnd.covers_to)
    earlier = or_(covers_to < oldest.covers_to, and_(covers_to == oldest.covers_to, col(SittingEnd.id) < oldest.id))
    mine = (col(SittingEnd.studio_id) == actor.studio_id, col(SittingEnd.archived_at).is_(None))
    before = session.scalar(select(func.max(covers_to)).where(*mine, earlier))
    rows = session.execute(
        select(col(Layer.painted_at), col(Panel.uid), col(Panel.title), col(Layer.kind))
        .join(Panel, col(Panel.id) == col(Layer.panel_id))
        .where(
            col(Layer.studio_id) == actor.studio_id,
            col(Layer.archived_at).is_(None),
            col(Layer.painted_at) <= counting[-1].covers_to,
            *(() if before is None else (col(Layer.painted_at) > before,)),
        )
        .order_by(col(Layer.painted_at), col(Layer.id))
    )
    for painted_at, *then in rows:
        end = next(end for end in counting if painted_at <= end.covers_to)
        if end.covers_to - painted_at <= SITTING:
            painted[end.id or 0].append(PaintedThen(*then))
    return painted


def open_sitting(session: Session, actor: Actor, at: Moment) -> SittingFact | None:
    """What was painted with oil, alkyd or drier since the last end of a sitting; None where nothing asks for one."""
    return board_sitting.open_sitting(snapshot(session, actor).rows, at)


def _paint(session: Session, actor: Actor, item: tuple[int, SittingLayer], now: datetime) -> Layer:
    place, asked = item
    command = LayerPaint(version=asked.version, override_reason=asked.override_reason)
    try:
        return layers.paint(session, actor, asked.layer_uid, command, now)
    except Conflict:
        raise Refused("One of these layers was changed meanwhile. Open this page again.") from None
    except Invalid as fault:
        raise Invalid([FieldError(f"layers.{place}.{error.field}", error.message) for error in fault.errors]) from None


def _last_painted(session: Session, actor: Actor) -> datetime | None:
    query = select(col(Layer.painted_at)).where(
        col(Layer.studio_id) == actor.studio_id, col(Layer.archived_at).is_(None), col(Layer.painted_at).is_not(None)
    )
    return session.scalars(query.order_by(col(Layer.painted_at).desc()).limit(1)).first()
