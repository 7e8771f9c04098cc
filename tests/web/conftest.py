"""The app over HTTP, on a database of its own with an empty studio."""

import shutil
from collections.abc import Callable, Iterator
from datetime import datetime, timezone
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlalchemy import event
from starlette.testclient import TestClient

from server.store.db import Database
from server.web.app import create_app
from server.web.settings import Settings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)  # a Wednesday


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(f"sqlite:///{tmp_path / 'studio.db'}")


@pytest.fixture
def db(settings: Settings, migrated_file: Path) -> Iterator[Database]:
    shutil.copyfile(migrated_file, settings.database_url.removeprefix("sqlite:///"))
    database = Database(settings.database_url)
    yield database
    database.close()


@pytest.fixture
def app(settings: Settings, db: Database) -> FastAPI:
    """The app at a fixed moment; a test may set ``app.state.clock`` to another."""
    made = create_app(settings, db)
    made.state.clock = lambda: NOW
    return made


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """Follows no redirect, so that a test sees the 303 itself."""
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as made:
        yield made


@pytest.fixture
def queries(db: Database) -> Iterator[Callable[[], int]]:
    """How many statements went to the database since the last call."""
    seen = [0]

    def note(*_: object) -> None:
        seen[0] += 1

    def taken() -> int:
        number, seen[0] = seen[0], 0
        return number

    event.listen(db.engine, "before_cursor_execute", note)
    yield taken
    event.remove(db.engine, "before_cursor_execute", note)
