"""What each role may do with each kind of record, asked of the services: the web's guard is a second lock."""

from collections.abc import Callable
from dataclasses import replace
from typing import get_args

import pytest
from sqlmodel import Session, col, select

from server.services import finish_tests, history, mixes, panels, sitting_ends, studios, touch_tests
from server.services.access import Action, Actor, allow
from server.services.errors import Forbidden, NotFound
from server.services.finish_tests import FinishTestCreate
from server.services.images import FOLLOWED, sql_table
from server.services.mixes import MixCreate
from server.services.roles import MAY, MEANING, OF_TABLE, PERMISSIONS, ROLE_TOLD, ROLE_WORDS, ROLES
from server.services.sitting_ends import SittingEndCreate
from server.services.touch_tests import TouchTestCreate
from server.store.tables import Change, ChangeSet, Membership, Paint, Panel, Person, Private, Role, Table
from tests.services.conftest import NOW, Bench

# What each role may do, written a second time: as the owner of the studio was told it.
PROMISED = {
    "owner": {"test", "finish test", "mix", "sit", "panel", "studio"},
    "painter": {"test", "finish test", "mix", "sit", "panel"},
    "assistant": {"test", "finish test", "mix", "sit"},
    "viewer": set(),
}


def acts(bench: Bench, session: Session, actor: Actor) -> dict[str, Callable[[], object]]:
    """An act for each kind of record."""
    painted = session.scalars(select(Panel).order_by(col(Panel.id))).first()
    assert painted is not None
    layer = bench_layer(session)
    paint = session.scalars(select(Paint)).first()
    assert paint is not None
    grey = MixCreate(label="Grey", parts=[{"item": f"paint:{paint.uid}", "parts": 1}])
    thumb = FinishTestCreate(method="thumb", result="no_mark")
    renamed = studios.public(studios.get(session, actor)).model_copy(update={"name": "Renamed"})
    return {
        "test": lambda: touch_tests.log(session, actor, layer, TouchTestCreate(stage="tacky"), NOW),
        "finish test": lambda: finish_tests.log(session, actor, painted.uid, thumb, NOW),
        "mix": lambda: mixes.create(session, actor, grey),
        "sit": lambda: sitting_ends.create(session, actor, SittingEndCreate(rags="spread"), NOW),
        "panel": lambda: panels.create(session, actor, bench.panel_command()),
        "studio": lambda: studios.update(session, actor, renamed),
    }


def bench_layer(session: Session) -> str:
    from server.store.tables import Layer

    layer = session.scalars(select(Layer)).first()
    assert layer is not None
    return layer.uid


@pytest.fixture
def painted(bench: Bench) -> Panel:
    panel = bench.panel()
    bench.painted(panel, 20)
    return panel


@pytest.mark.parametrize("role", ROLES)
def test_each_role_may_do_what_was_promised_and_nothing_else(bench: Bench, painted: Panel, role: Role):
    bench.actor = replace(bench.actor, role=role)
    done = set()
    for name in PROMISED["owner"]:
        try:
            with bench.unit(name) as work:
                acts(bench, work.session, bench.actor)[name]()
            done.add(name)
        except Forbidden:
            pass
    assert done == PROMISED[role]


def test_the_unit_refuses_rows_that_a_service_forgot_to_ask_about(bench: Bench, painted: Panel):
    """A service without any ``allow`` of its own: the unit looks at every row that was changed."""
    bench.actor = replace(bench.actor, role="assistant")
    with pytest.raises(Forbidden), bench.unit() as work:
        work.session.get_one(Panel, painted.id).title = "Taken over"
    with bench.db.read() as session:
        assert session.get_one(Panel, painted.id).title == "Two pears"
        assert session.scalars(select(ChangeSet).where(col(ChangeSet.label) == "Test")).first() is None


def test_a_change_is_undone_by_those_who_may_make_it(bench: Bench, painted: Panel):
    with bench.unit("Renamed the studio") as work:
        acts(bench, work.session, bench.actor)["studio"]()
    settings = work.change_uid
    with bench.unit("Logged a test") as work:
        acts(bench, work.session, bench.actor)["test"]()
    asked: tuple[tuple[Role, str, bool], ...] = (
        ("painter", settings, False),
        ("assistant", settings, False),
        ("viewer", work.change_uid, False),
        ("assistant", work.change_uid, True),
        ("owner", settings, True),
    )
    for role, uid, may in asked:
        actor = replace(bench.actor, role=role)
        bench.actor = actor
        try:
            with bench.unit("") as undoing:
                history.undo(undoing.session, actor, uid)
            undone = True
        except Forbidden:
            undone = False
        assert undone == may, (role, may)


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("action", get_args(Action))
def test_another_studios_record_is_not_there_whatever_the_role(
    bench: Bench, stranger: Bench, action: Action, role: Role
):
    with pytest.raises(NotFound):
        allow(replace(bench.actor, role=role), action, stranger.panel())


def test_the_table_of_roles_is_whole():
    assert set(MAY) == set(ROLES) == set(ROLE_WORDS) == set(ROLE_TOLD)
    assert set(MEANING) == set(PERMISSIONS)
    assert set(OF_TABLE) <= set(FOLLOWED)
    assert MAY["viewer"] < MAY["assistant"] < MAY["painter"] < MAY["owner"]


def test_every_table_is_followed_by_the_history_or_private():
    for mapper in Table._sa_registry.mappers:
        name = sql_table(mapper.class_).name
        if not issubclass(mapper.class_, Private | Change | ChangeSet):
            assert name in FOLLOWED, f"{name}: add it to FOLLOWED of services/images.py, or make it Private"


def test_no_private_row_enters_the_history(bench: Bench):
    """A secret column in a table that the history follows, or a private row in a unit, would end up in its images."""
    with bench.unit("Let somebody in") as work:
        person = Person(name="Invented", email="somebody@studio.example", password_hash="the secret")
        work.session.add(person)
        work.session.flush()
        membership = Membership(person_id=person.id or 0, studio_id=bench.actor.studio_id, role="viewer")
        work.session.add(membership)
        work.session.flush()
        membership.role = "painter"
    with bench.db.read() as session:
        assert session.scalars(select(Change)).all() == []
        assert session.scalars(select(Membership.role)).one() == "painter"
    for name, kind in FOLLOWED.items():
        secret = [column.key for column in sql_table(kind).columns if "hash" in column.key or "seed" in column.key]
        assert not secret, name
