"""Panels: pictures on their supports, with their ground, their place and the day they are due."""

from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Literal, get_args

from pydantic import Field
from sqlalchemy import func, select
from sqlmodel import Session, col

from server.science.errors import InputError
from server.science.reference import find_pigment
from server.services import records
from server.services.access import Actor, allow
from server.services.errors import FieldError, Invalid, Refused
from server.services.fields import (
    Centimetres,
    ColourIndexName,
    Command,
    Day,
    LongNotes,
    OptionalText200,
    Text200,
    Uid,
    Version,
)
from server.services.stack import zone_of
from server.services.unit import moment
from server.store.tables import GroundKind, GroundSurface, Layer, Panel, PanelFinish, Place

Support = Literal[
    "hardboard", "plywood", "solid_wood", "canvas_on_board", "stretched_canvas", "stretched_linen", "paper", "metal"
]
SUPPORTS: tuple[str, ...] = get_args(Support)
STRETCHED_SUPPORTS = frozenset({"stretched_canvas", "stretched_linen"})  # these give; all others are rigid


class PanelCreate(Command):
    """``ground_pigment`` is the Colour Index name of an oil ground's white; ``ground_on`` the day it was laid.

    ``weight`` of its date against those of others; ``finish``: what is done to it before it is packed (``packing_d``
    days) and on its way (``transit_d`` days).
    """

    title: Text200
    width_cm: Centimetres
    height_cm: Centimetres
    support: Support
    ground_kind: GroundKind
    ground_surface: GroundSurface
    ground_pigment: ColourIndexName | None = None
    ground_on: Day | None = None
    place_uid: Uid
    due_on: Day | None = None
    due_for: OptionalText200 = ""
    weight: Annotated[float, Field(ge=0.1, le=100)] = 1.0
    finish: PanelFinish = ""
    packing_d: Annotated[int, Field(ge=0, le=60)] = 1
    transit_d: Annotated[int, Field(ge=0, le=120)] = 0
    finished_on: Day | None = None
    notes: LongNotes = ""


class PanelUpdate(PanelCreate):
    version: Version


def create(session: Session, actor: Actor, command: PanelCreate) -> Panel:
    """Add a panel. Raises ``Invalid``."""
    allow(actor, "create", None, Panel)
    panel = Panel(studio_id=actor.studio_id, **_values(session, actor, command, None))
    session.add(panel)
    session.flush()
    return panel


def update(session: Session, actor: Actor, uid: str, command: PanelUpdate) -> Panel:
    """Change a panel. Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused`` for an archived one."""
    panel = records.find(session, actor, Panel, uid, "update")
    records.refuse_archived(panel, "this panel")
    records.check_version(panel, command, public(session, panel), "this panel")
    records.change(panel, _values(session, actor, command, panel))
    session.flush()
    return panel


def finish(session: Session, actor: Actor, uid: str) -> Panel:
    """Say that the painting is finished: its last layer went on when the top one was painted.

    What is still planned stays planned, out of the way. Raises ``NotFound``, ``Refused`` for an archived panel, for one
    without a painted layer, and for one that is finished already.
    """
    panel = records.find(session, actor, Panel, uid, "update")
    records.refuse_archived(panel, "this panel")
    if panel.finished_on is not None:
        raise Refused("This panel is finished already.")
    last = _painted_on(session, panel, func.max)
    if last is None:
        raise Refused("Nothing is painted on this panel yet, so it cannot be finished.")
    records.change(panel, {"finished_on": last})
    session.flush()
    return panel


def public(session: Session, panel: Panel) -> PanelUpdate:
    """The panel as the command that would leave it as it is: what an edit form starts from."""
    place_uid = session.scalars(select(col(Place.uid)).where(col(Place.id) == panel.place_id)).one()
    values: dict[str, Any] = {name: getattr(panel, name) for name in PanelUpdate.model_fields if hasattr(panel, name)}
    values |= {
        "place_uid": place_uid,
        "width_cm": round(panel.width_mm / 10, 5),
        "height_cm": round(panel.height_mm / 10, 5),
    }
    return PanelUpdate.model_construct(**values)


def archive(session: Session, actor: Actor, uid: str) -> Panel:
    return records.archive(session, actor, Panel, uid)


def restore(session: Session, actor: Actor, uid: str) -> Panel:
    return records.restore(session, actor, Panel, uid)


def get(session: Session, actor: Actor, uid: str) -> Panel:
    return records.find(session, actor, Panel, uid)


def all_open(session: Session, actor: Actor) -> list[Panel]:
    return records.find_all(session, actor, Panel)


def all_archived(session: Session, actor: Actor) -> list[Panel]:
    return records.find_all(session, actor, Panel, archived=True)


def _painted_on(session: Session, panel: Panel, which: Callable[..., Any]) -> date | None:
    """The day, in the studio's zone, on which the panel's first (``func.min``) or last layer was painted."""
    query = select(which(col(Layer.painted_at))).where(
        col(Layer.panel_id) == panel.id, col(Layer.archived_at).is_(None)
    )
    found = session.scalars(query).one()
    return None if found is None else found.astimezone(zone_of(session, panel.studio_id)).date()


def _ground_pigment(command: PanelCreate) -> tuple[str | None, list[FieldError]]:
    """The pigment's name as the table writes it, and what is wrong with it."""
    if command.ground_pigment is None:
        return None, []
    if command.ground_kind != "oil":
        return None, [FieldError("ground_pigment", "Only an oil ground has a white of its own. Leave this empty.")]
    try:
        return find_pigment(command.ground_pigment).ci_name, []
    except InputError as error:
        message = error.message[0].upper() + error.message[1:] + "."
        return None, [FieldError("ground_pigment", message)]


def _finished_too_early(command: PanelCreate, panel: Panel | None, painted_on: date | None) -> list[FieldError]:
    """What is wrong with the day of the last layer, which lies above the ground and the first one, where it or that of
    the ground was changed."""
    day, ground_on = command.finished_on, command.ground_on
    if day is None or (panel is not None and (day, ground_on) == (panel.finished_on, panel.ground_on)):
        return []
    if painted_on is not None and day < painted_on:
        words = f"The first layer was painted on {painted_on.day} {painted_on:%B %Y}. It cannot be finished before."
        return [FieldError("finished_on", words)]
    if ground_on is not None and day < ground_on:
        words = f"The ground was laid on {ground_on.day} {ground_on:%B %Y}. The last layer lies above it."
        return [FieldError("finished_on", words)]
    return []


def _values(session: Session, actor: Actor, command: PanelCreate, panel: Panel | None) -> dict[str, Any]:
    """Column values of the command. Raises ``Invalid`` for what only the studio's records and the date can tell."""
    place = records.find_named(session, actor, Place, command.place_uid, "place_uid")
    pigment, errors = _ground_pigment(command)
    if place.archived_at is not None and (panel is None or panel.place_id != place.id):
        errors.append(FieldError("place_uid", "This place is archived. Choose another, or bring it back first."))
    # A day of leeway: in the painter's zone tomorrow may have begun.
    today = moment(session).date()
    for field, day, what in (
        ("ground_on", command.ground_on, "The ground"),
        ("finished_on", command.finished_on, "The last layer"),
    ):
        if day is not None and (day - today).days > 1:
            errors.append(FieldError(field, f"{what} cannot have been laid on a day to come."))
    painted_on = None if panel is None else _painted_on(session, panel, func.min)
    errors += _finished_too_early(command, panel, painted_on)
    if command.ground_on is not None and painted_on is not None and command.ground_on > painted_on:
        words = f"The first layer was painted on {painted_on.day} {painted_on:%B %Y}. The ground lies below it."
        errors.append(FieldError("ground_on", words))
    if errors:
        raise Invalid(errors)
    values = command.model_dump(exclude={"width_cm", "height_cm", "place_uid", "version"})
    sizes = {"width_mm": round(command.width_cm * 10, 4), "height_mm": round(command.height_cm * 10, 4)}
    return values | sizes | {"place_id": place.id, "ground_pigment": pigment}
