"""Whatever is done in whatever order: undoing all of it, newest first, leads back through every state there was."""

import shutil
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test
from sqlmodel import select

from server.services import history, layers, panels, stack, touch_tests
from server.services.errors import Invalid, Refused
from server.services.layers import LayerPaint
from server.services.touch_tests import TouchTestCreate
from server.store.db import Database
from server.store.tables import ChangeSet, Layer, Panel, TouchTest
from tests.services.conftest import NOW, Bench, make_bench
from tests.services.test_history import everything


class Painter(RuleBasedStateMachine):
    """Does things to a panel and its layers, and remembers what everything looked like before each."""

    def __init__(self, migrated_file: Path, folder: Path) -> None:
        super().__init__()
        self.path = folder / "studio.db"
        shutil.copyfile(migrated_file, self.path)
        self.db = Database(f"sqlite:///{self.path}")
        self.bench: Bench = make_bench(self.db)
        self.panel = self.bench.panel()
        self.minutes = 0
        self.done: list[tuple[str, Any]] = []  # uid of the change set, state before it
        self.undone: list[tuple[str, Any]] = []  # uid of the change set, state after it

    def teardown(self) -> None:
        try:
            for uid, before in reversed(self.done):
                self.take_back(uid)
                assert self.state() == before
        finally:
            self.db.close()

    def state(self) -> dict[str, Any]:
        with self.db.read() as session:
            rows = everything(session)
        # An added record stays, archived: to the painter it is as if it were not there.
        for name in ("panel", "layer", "touch_test"):
            rows[name] = [row for row in rows[name] if row["archived_at"] is None]
        there = {row["id"] for row in rows["layer"]}
        rows["layer_mix"] = [row for row in rows["layer_mix"] if row["layer_id"] in there]
        for row in rows["layer_mix"]:
            del row["id"]
        return rows

    def do(self, step: Callable[[Any], object]) -> None:
        before = self.state()
        self.minutes += 1
        try:
            with self.bench.unit("Step", now=NOW + timedelta(minutes=self.minutes)) as work:
                step(work.session)
        except (Refused, Invalid):
            assert self.state() == before  # a refusal changes nothing
            return
        if self.state() != before:
            with self.db.read() as session:
                self.done.append((history.recent(session, self.bench.actor, limit=1)[0].uid, before))
            self.undone.clear()

    def take_back(self, uid: str) -> None:
        with self.bench.unit("Undo", now=NOW + timedelta(hours=9)) as work:
            history.undo(work.session, self.bench.actor, uid)

    def pick(self, session: Any, kind: type[Layer] | type[TouchTest], number: int) -> Any:
        rows = session.exec(select(kind)).all()
        return rows[number % len(rows)]

    @rule(mixes=st.integers(0, 2), painted=st.booleans())
    def add_layer(self, mixes: int, painted: bool) -> None:
        shares = {0: [], 1: [100.0], 2: [60.0, 40.0]}[mixes]
        named = zip((self.bench.white, self.bench.black), shares, strict=False)
        values: dict[str, Any] = {"mixes": [{"mix_uid": mix.uid, "area_pct": share} for mix, share in named]}
        if painted:
            values["painted_at"] = NOW + timedelta(minutes=self.minutes)
        command = self.bench.layer_command(**values)
        self.do(lambda s: layers.create(s, self.bench.actor, self.panel.uid, command))

    @rule(text=st.sampled_from(["", "pale", "dark"]), due=st.booleans())
    def edit_panel(self, text: str, due: bool) -> None:
        def step(session: Any) -> None:
            stored = panels.public(session, panels.get(session, self.bench.actor, self.panel.uid))
            changes = {"notes": text, "due_on": NOW.date() if due else None}
            panels.update(session, self.bench.actor, self.panel.uid, stored.model_copy(update=changes))

        self.do(step)

    @precondition(lambda self: self.has(Layer))
    @rule(number=st.integers(0, 9), thick=st.integers(5, 500), black=st.booleans())
    def edit_layer(self, number: int, thick: int, black: bool) -> None:
        def step(session: Any) -> None:
            layer = self.pick(session, Layer, number)
            stored = layers.public(session, layer)
            part = {"mix_uid": (self.bench.black if black else self.bench.white).uid, "area_pct": 100}
            wanted = type(stored)(**(stored.model_dump() | {"wet_thickness_um": thick, "mixes": [part]}))
            layers.update(session, self.bench.actor, layer.uid, wanted)

        self.do(step)

    @precondition(lambda self: self.has(Layer))
    @rule(number=st.integers(0, 9))
    def paint_layer(self, number: int) -> None:
        def step(session: Any) -> None:
            layer = self.pick(session, Layer, number)
            layers.paint(session, self.bench.actor, layer.uid, LayerPaint(version=layer.version))

        self.do(step)

    @precondition(lambda self: self.has(Layer))
    @rule(
        number=st.integers(0, 9),
        verb=st.sampled_from([layers.unpaint, layers.archive, layers.restore, "up", "down"]),
    )
    def handle_layer(self, number: int, verb: Any) -> None:
        def step(session: Any) -> None:
            uid = self.pick(session, Layer, number).uid
            if isinstance(verb, str):
                layers.move(session, self.bench.actor, uid, verb)  # type: ignore[arg-type]
            else:
                verb(session, self.bench.actor, uid)

        self.do(step)

    @precondition(lambda self: self.has(Layer))
    @rule(number=st.integers(0, 9))
    def touch(self, number: int) -> None:
        command = TouchTestCreate(stage="wet")
        self.do(lambda s: touch_tests.log(s, self.bench.actor, self.pick(s, Layer, number).uid, command))

    @precondition(lambda self: self.has(TouchTest))
    @rule(number=st.integers(0, 9), verb=st.sampled_from([touch_tests.archive, touch_tests.restore]))
    def handle_test(self, number: int, verb: Any) -> None:
        self.do(lambda s: verb(s, self.bench.actor, self.pick(s, TouchTest, number).uid))

    @precondition(lambda self: self.done)
    @rule()
    def undo_newest(self) -> None:
        uid, before = self.done.pop()
        after = self.state()
        self.take_back(uid)
        assert self.state() == before
        self.take_back(uid)  # twice is the same as once
        assert self.state() == before
        self.undone.append((uid, after))

    @precondition(lambda self: self.undone)
    @rule()
    def redo_newest(self) -> None:
        uid, after = self.undone.pop()
        before = self.state()
        with self.db.read() as session:
            undoing = session.exec(select(ChangeSet).where(ChangeSet.uid == uid)).one()
            links = session.exec(select(ChangeSet).where(ChangeSet.undoes_id == undoing.id)).all()
        self.take_back(max(links, key=lambda link: link.id or 0).uid)
        assert self.state() == after
        self.done.append((uid, before))

    @invariant()
    def the_stack_makes_sense(self) -> None:
        with self.db.read() as session:
            assert stack.problem(session, stack.load(session, session.get_one(Panel, self.panel.id))) is None

    def has(self, kind: type[Layer] | type[TouchTest]) -> bool:
        with self.db.read() as session:
            return session.exec(select(kind.id)).first() is not None


def test_whatever_is_done_can_be_undone(migrated_file: Path, tmp_path: Path) -> None:
    """On SQLite alone: PostgreSQL runs the same code, and the single steps beside this test."""
    run_state_machine_as_test(  # takes any maker of machines, though its annotation says a class
        lambda: Painter(migrated_file, tmp_path),  # type: ignore[arg-type]
        settings=settings(
            max_examples=8,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
