"""The demo studio: invented, the same for the same moment, never mixed into somebody's records, and rich in states."""

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

import seed_demo
from server.science.results import FilmState
from server.services.access import Actor
from server.services.board.facts import PanelFact, Standing
from server.services.board.today import today
from server.store.db import Database
from server.store.tables import Studio, Table

ZONE = ZoneInfo(seed_demo.TIME_ZONE)
MOMENTS = (
    datetime(2026, 11, 24, 9, 30, tzinfo=UTC),
    datetime(2027, 3, 28, 0, 20, tzinfo=UTC),  # the night of a change to summer time
    datetime(2028, 2, 29, 23, 45, tzinfo=UTC),
)


# Random, or holding what is random.
HOLDING_IDS = {"recipe_json", "content_json"}
IDS = {"tube", "id", "uid", "panel", "binding", "key", "stack_uid", "place_uid", "sitting"}
LEFT_OUT = {"uid", "before", "after", "location", "row_id"}


def content(db: Database) -> list[tuple[str, list[tuple[object, ...]]]]:
    """Every row of every table without its random ids; keys are told by their rank, since sequences may have gaps."""
    found: list[tuple[str, list[tuple[object, ...]]]] = []
    ranks: dict[str, dict[object, int]] = {}
    with db.read() as session:
        for table in Table.metadata.sorted_tables:
            columns = [column for column in table.columns if column.name not in LEFT_OUT]
            rows = session.execute(select(*columns).order_by(table.c.id)).all()
            ranks[table.name] = {row.id: rank for rank, row in enumerate(rows)}
            told = []
            for row in rows:
                values: list[object] = []
                for column, value in zip(columns, row, strict=True):
                    key = next(iter(column.foreign_keys), None)
                    owner = table.name if column.primary_key else key.column.table.name if key else None
                    told_value = _without_ids(value) if column.name in HOLDING_IDS else value
                    values.append(told_value if owner is None or value is None else ranks[owner][value])
                told.append(tuple(values))
            found.append((table.name, told))
    return found


def _without_ids(told: Any) -> Any:
    """A frozen recipe, a plan or a quote without the random ids of what it names."""
    if isinstance(told, dict):
        return {name: _without_ids(value) for name, value in told.items() if name not in IDS}
    return [_without_ids(each) for each in told] if isinstance(told, list) else told


def facts(db: Database, now: datetime) -> dict[str, PanelFact]:
    with db.read() as session:
        studio = session.scalars(select(Studio)).one()
        board = today(session, Actor(name="painter", studio_id=studio.id or 0), now, ZONE)
    return {fact.title: fact for group in board.groups.values() for fact in group}


def rules(fact: PanelFact) -> dict[str, str]:
    assert fact.verdict is not None
    return {finding.rule: finding.severity.value for finding in fact.verdict.findings}


def test_same_moment_same_studio_on_either_engine(database: Database, migrated_file: Path, tmp_path: Path) -> None:
    copy = tmp_path / "another.db"
    shutil.copy(migrated_file, copy)
    another = Database(f"sqlite:///{copy}")
    seed_demo.seed(database, MOMENTS[0])
    seed_demo.seed(another, MOMENTS[0])
    assert content(database) == content(another)
    another.close()


def test_refuses_a_database_that_is_not_empty(database: Database) -> None:
    seed_demo.seed(database, MOMENTS[0])
    before = content(database)
    with pytest.raises(seed_demo.NotEmpty):
        seed_demo.seed(database, MOMENTS[0])
    assert content(database) == before


@pytest.mark.parametrize("now", MOMENTS)
def test_shows_every_state_whenever_it_is_made(database: Database, now: datetime) -> None:
    seed_demo.seed(database, now)
    with database.read() as session:
        assert session.scalars(select(Studio)).one().is_invented
    found = facts(database, now)
    assert len(found) >= 10
    assert {fact.standing for fact in found.values()} >= {
        Standing.READY,
        Standing.TEST_FIRST,
        Standing.RESTS,
        Standing.STOPPED,
        Standing.FINISHED,
    }
    pears = found["Two pears on a grey cloth"]
    assert pears.top is not None and pears.top.state is FilmState.TACKY
    assert rules(pears)["R03"] == "stop"
    assert pears.lightly is not None and pears.lightly.verdict.value == "caution"
    harbour = found["Harbour wall, low tide"]
    assert rules(harbour)["R01"] == "caution"
    assert harbour.verdict is not None
    remedy = harbour.verdict.findings[0].remedy
    assert remedy is not None and remedy.add_oil_ml
    coat = found["The coat on the chair"]
    assert coat.top is not None and coat.top.holds_up == "coat"
    assert rules(found["Storm over the flats"])["R06"] == "stop"
    assert found["Red door"].top is not None and found["Red door"].top.material.value == "alkyd"
    late = found["Field, first frost"].due
    assert late is not None and late.at_risk
    lemons = found["Lemons, blue bowl"]
    assert lemons.standing is Standing.FINISHED and lemons.varnish is not None
    assert lemons.varnish.low > now.date() + timedelta(days=30)
