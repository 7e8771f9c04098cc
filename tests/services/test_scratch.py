"""A copy of a studio to try something on: its own records, all of them, and nothing of anybody else's."""

from sqlalchemy import func, select
from sqlmodel import col

from server.services import layers, panels
from server.services.unit import unit
from server.store import scratch
from server.store.tables import Change, Layer, LayerMix, Mix, Panel, Person, Studio, Table
from tests.services.conftest import NOW, Bench


def test_it_holds_the_studio_as_it_is_and_no_other(bench: Bench, stranger: Bench) -> None:
    layer = bench.painted(bench.panel(title="Mine"), 3)
    stranger.painted(stranger.panel(title="Theirs"), 2)
    with bench.db.write() as session:
        session.add(Person(name="Ada", email="ada@studio.example", password_hash="hash"))
    with bench.db.read() as session:
        copy = scratch.scratch_of(session, bench.actor.studio_id)
        wanted = session.execute(select(Layer.__table__).where(col(Layer.uid) == layer.uid)).mappings().one()  # type: ignore[attr-defined]
    with copy.read() as session:
        assert session.execute(select(Layer.__table__)).mappings().all() == [wanted]  # type: ignore[attr-defined]
        assert list(session.scalars(select(col(Panel.title)))) == ["Mine"]
        assert session.scalar(select(func.count()).select_from(Studio)) == 1
        assert session.scalar(select(func.count()).select_from(LayerMix)) == 1
        assert {mix.studio_id for mix in session.scalars(select(Mix))} == {bench.actor.studio_id}
        for table in (Change, Person):
            assert session.scalar(select(func.count()).select_from(table)) == 0
    copy.close()


def test_what_is_done_there_stays_there(bench: Bench) -> None:
    panel = bench.panel(title="Mine")
    with bench.db.read() as session:
        copy = scratch.scratch_of(session, bench.actor.studio_id)
    with unit(copy, bench.actor, label="Tried", now=NOW) as work:
        layers.create(work.session, bench.actor, panel.uid, bench.layer_command(painted_at=NOW))
        panels.archive(work.session, bench.actor, panel.uid)
    with copy.read() as session:
        assert session.scalar(select(func.count()).select_from(Layer)) == 1
    copy.close()
    with bench.db.read() as session:
        assert session.scalar(select(func.count()).select_from(Layer)) == 0
        assert session.scalars(select(Panel)).one().archived_at is None


def test_every_table_of_a_studio_is_found() -> None:
    """What is neither left away nor found to be a studio's would be missing where something is tried."""
    for table in Table.metadata.sorted_tables:
        if scratch._is_copied(table):
            assert scratch._of_studio(table, 1) is not None, table.name
