"""Tests of a finished picture: a swab, a turned thumb, a fingernail, and what each showed."""

from datetime import datetime
from typing import Any

from pydantic import ValidationInfo, field_validator
from sqlalchemy import select
from sqlmodel import Session, col

from server.science.finish_tests import RESULTS
from server.services import finish, records, stack
from server.services.access import Actor
from server.services.errors import Invalid, Refused
from server.services.fields import Command, Instant, OptionalText120, ShortNote, Version
from server.services.stack import Stack
from server.services.unit import moment
from server.store.tables import FinishMethod, FinishResult, FinishTest, Panel


class FinishTestCreate(Command):
    """Without ``tested_at`` it is now."""

    method: FinishMethod
    result: FinishResult
    tested_at: Instant | None = None
    place_on_panel: OptionalText120 = ""
    note: ShortNote = ""

    @field_validator("result")
    @classmethod
    def _of_the_method(cls, value: str, info: ValidationInfo) -> str:
        method = info.data.get("method")
        if method is not None and value not in RESULTS[method]:
            raise ValueError("Choose what this test showed.")
        return value


class FinishTestUpdate(FinishTestCreate):
    """Without ``tested_at`` the time stays."""

    version: Version


def log(
    session: Session, actor: Actor, panel_uid: str, command: FinishTestCreate, now: datetime | None = None
) -> FinishTest:
    """Note a test of a picture. Raises ``NotFound``, ``Refused``, ``Invalid`` at ``tested_at``."""
    pile = stack.open_for_change(session, actor, panel_uid)
    at = now or moment(session)
    tested_at = command.tested_at or at
    _check(pile, tested_at, at)
    values = command.model_dump() | {"tested_at": tested_at}
    test = FinishTest(studio_id=actor.studio_id, panel_id=pile.panel.id or 0, **values)
    session.add(test)
    session.flush()
    return test


def update(
    session: Session, actor: Actor, uid: str, command: FinishTestUpdate, now: datetime | None = None
) -> FinishTest:
    """Correct a test. Raises ``NotFound``, ``Conflict``, ``Refused``, ``Invalid`` at ``tested_at``."""
    pile = _open_panel(session, actor, uid)
    test = records.find(session, actor, FinishTest, uid, "update")
    records.refuse_archived(test, "this test")
    command = command.model_copy(update={"tested_at": command.tested_at or test.tested_at})
    records.check_version(test, command, public(session, test), "this test")
    assert command.tested_at is not None
    _check(pile, command.tested_at, now or moment(session))
    records.change(test, command.model_dump(exclude={"version"}))
    session.flush()
    return test


def archive(session: Session, actor: Actor, uid: str) -> FinishTest:
    """Take a test back as mistaken. Raises ``NotFound``, and ``Refused`` on a panel that is put away."""
    _open_panel(session, actor, uid)
    return records.archive(session, actor, FinishTest, uid)


def restore(session: Session, actor: Actor, uid: str) -> FinishTest:
    """Let a test count again. Raises as ``archive``."""
    _open_panel(session, actor, uid)
    return records.restore(session, actor, FinishTest, uid)


def _open_panel(session: Session, actor: Actor, uid: str) -> Stack:
    found = records.find(session, actor, FinishTest, uid)
    return stack.open_for_change(session, actor, session.get_one(Panel, found.panel_id).uid)


def get(session: Session, actor: Actor, uid: str) -> FinishTest:
    return records.find(session, actor, FinishTest, uid)


def panel_of(session: Session, actor: Actor, uid: str) -> tuple[FinishTest, Panel]:
    """A test with its panel. Raises ``NotFound``."""
    test = records.find(session, actor, FinishTest, uid)
    return test, session.get_one(Panel, test.panel_id)


def on_panel(session: Session, actor: Actor, panel_uid: str) -> list[FinishTest]:
    """All tests of a picture, the newest first; those marked as mistaken too."""
    panel = records.find(session, actor, Panel, panel_uid)
    query = select(FinishTest).where(col(FinishTest.panel_id) == panel.id)
    return list(session.scalars(query.order_by(col(FinishTest.tested_at).desc(), col(FinishTest.id).desc())))


def all_open(session: Session, actor: Actor) -> list[FinishTest]:
    return records.find_all(session, actor, FinishTest)


def all_archived(session: Session, actor: Actor) -> list[FinishTest]:
    return records.find_all(session, actor, FinishTest, archived=True)


def public(_session: Session, test: FinishTest) -> FinishTestUpdate:
    """The test as the command that would leave it as it is: what an edit form starts from."""
    values: dict[str, Any] = {name: getattr(test, name) for name in FinishTestUpdate.model_fields}
    return FinishTestUpdate.model_construct(**values)


def _check(pile: Stack, tested_at: datetime, now: datetime) -> None:
    last = finish.last_painted(pile)
    if last is None or last.painted_at is None:
        raise Refused("Nothing is painted on this panel yet, so there is nothing to test.")
    if tested_at > now + stack.LEEWAY:
        raise Invalid.at("tested_at", "This is still to come. Give a time up to now.")
    if tested_at < last.painted_at:
        painted = stack.in_words(last.painted_at, pile.zone)
        raise Invalid.at("tested_at", f"The last layer was painted on {painted}. A test of it cannot be older.")
