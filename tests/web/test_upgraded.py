"""A studio of every earlier version goes on in today's program: its pages, its archive, its next change."""

import io
import json
import zipfile
from collections.abc import Iterator
from datetime import datetime, timezone
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from starlette.testclient import TestClient

from server.science.recipe import Room, RoomStep
from server.science.results import LayerEstimate
from server.services import upkeep
from server.services.forecasts import FORECASTS, freeze
from server.services.recipes import layer_from_json
from server.store.db import Database
from server.store.migrate import migrate
from server.web.app import create_app
from server.web.settings import Settings
from tests.store.old_rows import REVISIONS, insert_rows

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)


# What went on, as the program has written it since its first version; the old rows only hint at it.
RECIPE = {
    "wet_thickness_um": 30.0,
    "ground": "acrylic",
    "mixes": [
        {
            "name": "Light",
            "area_share": 1.0,
            "paints": [{"parts": 9.0, "oil": "linseed", "pigments": [{"ci_name": "PW6", "share": 1.0}]}],
            "additions": [],
        }
    ],
}


ENTRY = {
    "kind": "event",
    "panel": "panel-1",
    "plain": "A layer",
    "start": "2026-11-20",
    "end": "2026-11-21",
    "status": "TENTATIVE",
    "is_busy": False,
}


def forecast() -> str:
    """What was promised of it, with no more than the first version kept."""
    recipe = layer_from_json(RECIPE)
    (estimate,) = FORECASTS.of([(recipe, Room((RoomStep(0.0, 20.0, 50.0),)))])
    assert isinstance(estimate, LayerEstimate)
    frozen = freeze(estimate, estimate, {})
    return json.dumps({name: frozen[name] for name in ("model_version", "stages", "regions")})


@pytest.fixture(params=REVISIONS)
def upgraded(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TestClient]:
    url = f"sqlite:///{tmp_path / 'studio.db'}"
    migrate(url, request.param)
    engine = create_engine(url)
    with engine.begin() as connection:
        insert_rows(connection, request.param)
        kept = {"recipe": json.dumps(RECIPE), "forecast": forecast()}
        connection.execute(text("UPDATE layer SET recipe_json = :recipe, forecast_json = :forecast"), kept)
    migrate(url)
    with engine.begin() as connection:
        said = {"verdict": json.dumps({"verdict": "stop", "findings": []}), "entry": json.dumps(ENTRY)}
        connection.execute(text("UPDATE layer SET verdict_json = :verdict WHERE verdict_json IS NOT NULL"), said)
        connection.execute(text("UPDATE published_event SET content_json = :entry"), said)
    engine.dispose()
    assert upkeep.check(url).faults == ()
    db = Database(url)
    app = create_app(Settings(url), db)
    app.state.clock = lambda: NOW
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as client:
        yield client
    db.close()
    assert upkeep.check(url).faults == ()


def test_an_upgraded_studio_works(upgraded: TestClient):
    for address in ("/", "/panels", "/panels/panel-1", "/panels/panel-1/record", "/calendar", "/plan", "/learning"):
        assert upgraded.get(address).status_code == 200, address
    for address in ("/shelf", "/mixes/mix-1", "/room", "/history", "/studio", "/layers/layer-1/tests", "/data"):
        assert upgraded.get(address).status_code == 200, address
    with zipfile.ZipFile(io.BytesIO(upgraded.get("/data/archive").content)) as archive:
        assert "panels/0001-two-pears/section.svg" in archive.namelist()
    made = upgraded.post("/panels/panel-1/archive", data={"command_key": "key-of-a-change"})
    assert made.status_code == 303
