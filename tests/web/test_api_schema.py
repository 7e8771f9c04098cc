"""The whole document of the interfaces held against the app by schemathesis: no fault of ours, no answer off schema.

Half of the addresses name a record of the invented studio, so that what is sent meets real ones.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.checks import CHECKS, load_all_checks
from starlette.testclient import TestClient

import seed_demo
from server.services import studios
from server.services.access import Actor
from server.services.records import find_all
from server.store.db import Database
from server.web.api.resources import RESOURCES
from server.web.app import create_app
from server.web.settings import Settings
from tests.web.conftest import NOW

load_all_checks()
HELD = CHECKS.get_by_names(
    [
        "not_a_server_error",
        "status_code_conformance",
        "content_type_conformance",
        "response_headers_conformance",
        "response_schema_conformance",
    ]
)


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[FastAPI]:
    file = tmp_path_factory.mktemp("api") / "studio.db"
    file.write_bytes(migrated_file.read_bytes())
    db = Database(f"sqlite:///{file}")
    seed_demo.seed(db, NOW - timedelta(hours=1))
    made = create_app(Settings(f"sqlite:///{file}"), db)
    made.state.clock = lambda: NOW
    yield made
    db.close()


@pytest.fixture(scope="module")
def document(app: FastAPI) -> Any:
    return schemathesis.openapi.from_dict(app.openapi())


@pytest.fixture(scope="module")
def uids(app: FastAPI) -> dict[str, list[str]]:
    """Of every kind of record a few of the studio's, by the plural in addresses."""
    with app.state.db.read() as session:
        actor = Actor("painter", studios.the_studio(session).id or 0)
        return {r.path: [record.uid for record in find_all(session, actor, r.table)[:3]] for r in RESOURCES}


@pytest.fixture(scope="module")
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as made:
        yield made


OTHERS = (
    *("calculations", "boards", "history", "readings", "studio", "plans", "quotes", "learning"),
    *("share-links", "people", "own-feeds", "questions", "rooms", "rules", "sheets", "data"),
)
TAGS = (*OTHERS, *(r.path for r in RESOURCES))


def test_every_operation_has_one_of_the_tags_that_are_asked(document: Any) -> None:
    told = [operation.ok() for operation in document.get_all_operations()]
    assert len(told) > 80
    assert {tag for operation in told for tag in operation.tags} == set(TAGS)
    assert {each["name"] for each in document.raw_schema["tags"] if each["description"]} == set(TAGS)


@pytest.mark.parametrize("tag", TAGS)
def test_nothing_answers_off_schema(client: TestClient, document: Any, uids: dict[str, list[str]], tag: str) -> None:
    operations = [each.ok() for each in document.get_all_operations() if tag in each.ok().tags]
    assert operations
    for operation in operations:
        _hold(client, operation, uids.get(operation.path.split("/")[3], []))


def _hold(client: TestClient, operation: Any, uids: list[str]) -> None:
    names = st.one_of(st.none(), st.sampled_from(uids)) if uids else st.none()

    @settings(
        max_examples=8,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), uid=names, version=st.integers(1, 3))
    def hold(case: Any, uid: str | None, version: int) -> None:
        if uid and "uid" in (case.path_parameters or {}):
            case.path_parameters["uid"] = uid
            if any(name.lower() == "if-match" for name in case.headers or {}):
                case.headers["If-Match"] = f'"{version}"'
        asked = case.as_transport_kwargs(base_url="http://127.0.0.1")
        asked.pop("cookies", None)
        response = client.request(**asked)
        case.validate_response(response, checks=HELD)

    hold()
