"""A panel put into another place: logged, corrected, taken back.

Threat to the dates: a panel that is said to be where it is not. A move is of the past or of now, never of a time to
come nor of one long before anything is known of the panel, and two moves of a panel never fall on one instant.
"""

from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlmodel import Session, col

from server.services import records
from server.services.access import Actor
from server.services.board.spans import start_of_day
from server.services.errors import Invalid, Refused
from server.services.fields import Command, Instant, Uid, Version
from server.services.stack import zone_of
from server.services.unit import moment
from server.services.whereabouts import Stay, whereabouts
from server.store.tables import Layer, Panel, PanelMove, Place

AHEAD = timedelta(minutes=1)
BARE_FOR = timedelta(days=365)  # so long before anything is known of it a bare panel may have stood about; our choice


class MoveCreate(Command):
    """``moved_at`` None: now."""

    place_uid: Uid
    moved_at: Instant | None = None


class MoveUpdate(Command):
    place_uid: Uid
    moved_at: Instant
    version: Version


def create(session: Session, actor: Actor, panel_uid: str, command: MoveCreate) -> PanelMove:
    """Put a panel into a place. Raises ``NotFound``, ``Invalid``, ``Refused`` for an archived panel."""
    panel = records.find(session, actor, Panel, panel_uid, "hold")
    records.refuse_archived(panel, "this panel")
    place = _place(session, actor, command.place_uid)
    moved_at = command.moved_at or moment(session)
    _check(session, panel, (place, moved_at), None)
    assert panel.id is not None
    assert place.id is not None
    move = PanelMove(studio_id=actor.studio_id, panel_id=panel.id, place_id=place.id, moved_at=moved_at)
    session.add(move)
    session.flush()
    return move


def update(session: Session, actor: Actor, uid: str, command: MoveUpdate) -> PanelMove:
    """Correct a move. Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused`` for one that was none."""
    move = records.find(session, actor, PanelMove, uid, "update")
    records.refuse_archived(move, "this move")
    records.check_version(move, command, public(session, move), "this move")
    place = _place(session, actor, command.place_uid, move.place_id)
    _check(session, panel_of(session, move), (place, command.moved_at), move)
    records.change(move, {"place_id": place.id, "moved_at": command.moved_at})
    session.flush()
    return move


def public(session: Session, move: PanelMove) -> MoveUpdate:
    """The move as the command that would leave it as it is."""
    place = session.get_one(Place, move.place_id)
    return MoveUpdate.model_construct(place_uid=place.uid, moved_at=move.moved_at, version=move.version)


def archive(session: Session, actor: Actor, uid: str) -> PanelMove:
    """It was not moved after all."""
    return records.archive(session, actor, PanelMove, uid)


def restore(session: Session, actor: Actor, uid: str) -> PanelMove:
    """It was."""
    return records.restore(session, actor, PanelMove, uid)


def get(session: Session, actor: Actor, uid: str) -> PanelMove:
    return records.find(session, actor, PanelMove, uid)


def panel_of(session: Session, move: PanelMove) -> Panel:
    """The panel that was moved."""
    return session.get_one(Panel, move.panel_id)


def stays(session: Session, panel: Panel) -> tuple[Stay, ...]:
    """Every place a panel was in, the first one first."""
    assert panel.id is not None
    return whereabouts(session, panel.studio_id, panel.id).stays(panel.id, panel.place_id)


def _place(session: Session, actor: Actor, uid: str, keeps: int | None = None) -> Place:
    place = records.find_named(session, actor, Place, uid, "place_uid")
    if place.archived_at is not None and place.id != keeps:
        raise Invalid.at("place_uid", "This place is archived. Choose another, or bring it back first.")
    return place


def _check(session: Session, panel: Panel, put: tuple[Place, datetime], own: PanelMove | None) -> None:
    """Raises ``Invalid`` for a move to come or at the instant of another, ``Refused`` for one that moves nothing."""
    place, moved_at = put
    if moved_at > moment(session) + AHEAD:
        raise Invalid.at("moved_at", "This is still to come. Write it down once the panel is there.")
    _check_not_long_before(session, panel, moved_at)
    query = select(PanelMove).where(
        col(PanelMove.panel_id) == panel.id, col(PanelMove.archived_at).is_(None), col(PanelMove.moved_at) == moved_at
    )
    if any(other.id != (own.id if own else None) for other in session.scalars(query)):
        raise Invalid.at("moved_at", "It was moved at that very minute already. Correct that move instead.")
    if own is None and stays(session, panel)[-1].place.uid == place.uid and _is_last(session, panel, moved_at):
        raise Refused(f"The panel is in “{place.name}” already.")


def _check_not_long_before(session: Session, panel: Panel, moved_at: datetime) -> None:
    """Raises ``Invalid`` for a move more than a year before the first that is known of the panel: the day of its
    ground, a layer, or its being written down."""
    zone = zone_of(session, panel.studio_id)
    query = select(func.min(col(Layer.painted_at))).where(
        col(Layer.panel_id) == panel.id, col(Layer.archived_at).is_(None)
    )
    ground = None if panel.ground_on is None else start_of_day(panel.ground_on, zone)
    known = min(at for at in (panel.created_at, ground, session.scalars(query).one()) if at is not None)
    if moved_at < known - BARE_FOR:
        first = known.astimezone(zone)
        raise Invalid.at(
            "moved_at",
            f"Nothing is known of this panel before {first.day} {first:%B %Y}, and this is more than a year earlier. "
            "If it is older, give it the day of its ground or its older layers first.",
        )


def _is_last(session: Session, panel: Panel, moved_at: datetime) -> bool:
    since = stays(session, panel)[-1].since
    return since is None or moved_at >= since
