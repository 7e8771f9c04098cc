"""Steps of the finish: oiling out, varnish, frame, wrap, stack, ship; planned and done."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import Field
from sqlalchemy import select
from sqlmodel import Session, col

from server.science.soundness.types import Action, Verdict
from server.services import overrides, records, stack
from server.services.access import Actor
from server.services.board import closing
from server.services.board.facts import GateFact, Moment
from server.services.board.films import panel_layers
from server.services.board.rows import load
from server.services.board.spans import local_day
from server.services.board.today import moment_at
from server.services.errors import Invalid, NotFound, Refused
from server.services.fields import Command, Day, Instant, ShortNote, Version
from server.services.stack import Stack
from server.services.unit import moment
from server.services.verdicts import VERDICTS
from server.store.tables import FinishAction, FinishStep, Layer, Panel

TransitC = Annotated[float, Field(ge=-60, le=80)]
NO_PAINT = "Nothing is painted on this panel yet, so there is nothing to finish."


class FinishStepCreate(Command):
    """``transit_c`` is the coldest or hottest on the way, for shipping. With ``done_at`` it is done already."""

    action: FinishAction
    planned_on: Day | None = None
    done_at: Instant | None = None
    transit_c: TransitC | None = None
    note: ShortNote = ""
    override_reason: ShortNote = ""


class FinishStepUpdate(FinishStepCreate):
    """``done_at`` is given exactly when the step is done."""

    version: Version


class FinishStepDo(Command):
    """Without ``done_at`` it is now; what is left out stays as planned."""

    version: Version
    done_at: Instant | None = None
    transit_c: TransitC | None = None
    note: ShortNote | None = None
    override_reason: ShortNote = ""


def create(
    session: Session, actor: Actor, panel_uid: str, command: FinishStepCreate, now: datetime | None = None
) -> FinishStep:
    """Plan a step, or log it as done where ``done_at`` is given. Raises ``NotFound``, ``Refused``, ``Invalid``."""
    pile = stack.open_for_change(session, actor, panel_uid)
    step = FinishStep(studio_id=actor.studio_id, panel_id=pile.panel.id or 0, action=command.action)
    _set(step, command.model_dump(exclude={"done_at", "override_reason"}))
    if command.done_at is not None:
        _do(session, actor, pile, step, (command.done_at, command.override_reason, now or moment(session)))
    else:
        stack.check_planned_on(pile, command.planned_on)
    session.add(step)
    session.flush()
    return step


def update(
    session: Session, actor: Actor, uid: str, command: FinishStepUpdate, now: datetime | None = None
) -> FinishStep:
    """Change a planned step, or correct one that is done: the verdict stays as it stood.

    Raises ``NotFound``, ``Conflict``, ``Invalid``, ``Refused``.
    """
    step, pile = _open(session, actor, uid)
    records.check_version(step, command, public(session, step), "this step")
    if (command.done_at is None) != (step.done_at is None):
        raise Invalid.at("done_at", _ANOTHER_WAY[step.done_at is None])
    if command.done_at is not None:
        _check_done_at(pile, command.done_at, now or moment(session))
        command = command.model_copy(update={"override_reason": overrides.corrected(step, command.override_reason)})
    else:
        if command.planned_on != step.planned_on:
            stack.check_planned_on(pile, command.planned_on)
        command = command.model_copy(update={"override_reason": ""})
    records.change(step, command.model_dump(exclude={"version"}))
    session.flush()
    return step


def do(session: Session, actor: Actor, uid: str, command: FinishStepDo, now: datetime | None = None) -> FinishStep:
    """Log a planned step as done, with what the rules say of it then.

    Raises ``NotFound``, ``Conflict``, ``Refused``, ``Invalid`` at ``done_at`` and, where a rule stops it and no reason
    is given, at ``override_reason``.
    """
    step, pile = _open(session, actor, uid)
    if step.done_at is not None:
        raise Refused("This is done already. Correct it instead.")
    planned = public(session, step)
    changes = {name: value for name, value in command.model_dump(exclude={"version"}).items() if value is not None}
    wanted = planned.model_copy(update=changes | {"version": command.version})
    if command.version != step.version:
        raise records.conflict(wanted, planned, "this step")
    at = now or moment(session)
    _set(step, {"transit_c": wanted.transit_c, "note": wanted.note})
    _do(session, actor, pile, step, (command.done_at or at, command.override_reason, at))
    session.flush()
    return step


def undo_done(session: Session, actor: Actor, uid: str) -> FinishStep:
    """Put a step back to planned."""
    step, _ = _open(session, actor, uid)
    if step.done_at is not None:
        step.done_at = None
        overrides.forget(step)
        session.flush()
    return step


def archive(session: Session, actor: Actor, uid: str) -> FinishStep:
    """Put a step away. Raises ``NotFound``, and ``Refused`` on a panel that is put away."""
    _open_panel(session, actor, records.find(session, actor, FinishStep, uid))
    return records.archive(session, actor, FinishStep, uid)


def restore(session: Session, actor: Actor, uid: str) -> FinishStep:
    """Bring a step back. Raises ``NotFound``, and ``Refused`` on a panel that is put away."""
    _open_panel(session, actor, records.find(session, actor, FinishStep, uid))
    return records.restore(session, actor, FinishStep, uid)


def get(session: Session, actor: Actor, uid: str) -> FinishStep:
    return records.find(session, actor, FinishStep, uid)


def all_open(session: Session, actor: Actor) -> list[FinishStep]:
    return records.find_all(session, actor, FinishStep)


def all_archived(session: Session, actor: Actor) -> list[FinishStep]:
    return records.find_all(session, actor, FinishStep, archived=True)


def archived_on(session: Session, actor: Actor, panel_uid: str) -> list[FinishStep]:
    """The archived steps of one panel, the last archived first."""
    panel = records.find(session, actor, Panel, panel_uid)
    query = select(FinishStep).where(col(FinishStep.panel_id) == panel.id, col(FinishStep.archived_at).is_not(None))
    return list(session.scalars(query.order_by(col(FinishStep.archived_at).desc())))


def panel_of(session: Session, actor: Actor, uid: str) -> tuple[FinishStep, Panel]:
    """A step with its panel. Raises ``NotFound``."""
    step = records.find(session, actor, FinishStep, uid)
    return step, session.get_one(Panel, step.panel_id)


def public(_session: Session, step: FinishStep) -> FinishStepUpdate:
    """The step as the command that would leave it as it is: what an edit form starts from."""
    values: dict[str, Any] = {name: getattr(step, name) for name in FinishStepUpdate.model_fields}
    return FinishStepUpdate.model_construct(**values)


def gates(session: Session, actor: Actor, panel_uid: str, at: Moment) -> tuple[GateFact, ...]:
    """What may be done to a picture at a moment, each with its verdict and its first days. Raises ``NotFound``."""
    rows = load(session, actor, panel_uid)
    if rows is None:
        raise NotFound
    [layers] = panel_layers(rows, at)
    return tuple(closing.gate(layers, rows, (action, None), at) for action in closing.ACTIONS)


def gate(session: Session, actor: Actor, panel_uid: str, wanted: tuple[str, float | None], at: Moment) -> GateFact:
    """One gate; ``wanted`` is what is to be done, and the temperature on the way. Raises ``NotFound``."""
    rows = load(session, actor, panel_uid)
    if rows is None:
        raise NotFound
    [layers] = panel_layers(rows, at)
    return closing.gate(layers, rows, (Action(wanted[0]), wanted[1]), at)


_ANOTHER_WAY = {
    True: "It is only planned. Log it as done instead.",
    False: "Say when it was done, or put it back to planned.",
}


def _open(session: Session, actor: Actor, uid: str) -> tuple[FinishStep, Stack]:
    """A step and the stack of its panel, locked: the panel first, always in this order."""
    pile = _open_panel(session, actor, records.find(session, actor, FinishStep, uid))
    step = records.find(session, actor, FinishStep, uid, "update")
    records.refuse_archived(step, "this step")
    return step, pile


def _open_panel(session: Session, actor: Actor, step: FinishStep) -> Stack:
    return stack.open_for_change(session, actor, session.get_one(Panel, step.panel_id).uid)


def _set(step: FinishStep, values: dict[str, Any]) -> None:
    for name, value in values.items():
        setattr(step, name, value)


def _do(
    session: Session, actor: Actor, pile: Stack, step: FinishStep, when_and_why: tuple[datetime, str, datetime]
) -> None:
    done_at, reason, now = when_and_why
    _check_done_at(pile, done_at, now)
    overrides.keep(step, _verdict(session, actor, pile, step, done_at), reason)
    step.done_at = done_at


def _verdict(session: Session, actor: Actor, pile: Stack, step: FinishStep, at: datetime) -> Verdict | None:
    """What the rules say of the step at that time, by the tests there were."""
    rows = load(session, actor, pile.panel.uid)
    assert rows is not None
    then = moment_at(at, pile.zone)
    [layers] = panel_layers(rows, then)
    question = closing.asking(layers, rows, Action(step.action), at, step.transit_c)
    return None if question is None else VERDICTS.of(question, at, local_day(at, pile.zone))


def _check_done_at(pile: Stack, done_at: datetime, now: datetime) -> None:
    last = last_painted(pile)
    if last is None or last.painted_at is None:
        raise Refused(NO_PAINT)
    if done_at > now + stack.LEEWAY:
        raise Invalid.at("done_at", "This is still to come. Give a time up to now.")
    if done_at < last.painted_at:
        painted = stack.in_words(last.painted_at, pile.zone)
        raise Invalid.at("done_at", f"The last layer was painted on {painted}. This cannot have been done before.")


def last_painted(pile: Stack) -> Layer | None:
    painted = [layer for layer in pile.layers if layer.painted_at is not None]
    return painted[-1] if painted else None
