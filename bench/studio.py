"""A large studio to measure pages on: many panels, each with the same number of layers. Invented throughout."""

from datetime import datetime, timedelta

from server.services import layers, mixes, paints, panels, places, studios
from server.services.access import Actor
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Studio

SLOWEST_D = 40


def fill(db: Database, now: datetime, panel_count: int, layers_each: int, studio: Studio | None = None) -> Actor:
    """Add panels with all but one of their layers painted, the last of them at different times before ``now``.

    ``studio``: another than the first of the install.
    """
    studio = studio or studios.ensure_studio(db)
    assert studio.id is not None
    actor = Actor(name="bench", studio_id=studio.id)
    with unit(db, actor, label="Filled the bench's studio", now=now) as work:
        place_uid = places.all_open(work.session, actor)[0].uid
        mix_uids = _shelf(work.session, actor)
    for i in range(panel_count):
        with unit(db, actor, label="Filled the bench's studio", now=now) as work:
            values = {"title": f"Panel {i}", "width_cm": 30 + i % 40, "height_cm": 20 + i % 30, "support": "hardboard"}
            ground = {"ground_kind": "acrylic", "ground_surface": "matte", "place_uid": place_uid}
            due = {"due_on": now.date() + timedelta(days=10 + i % 90)} if i % 3 else {}
            panel = panels.create(work.session, actor, panels.PanelCreate.model_validate(values | ground | due))
            for position in range(layers_each):
                waits = (layers_each - 1 - position) * SLOWEST_D
                painted_at = None if position == layers_each - 1 else now - timedelta(days=waits - SLOWEST_D + i % 30)
                command = _layer(mix_uids, i + position, painted_at)
                layers.create(work.session, actor, panel.uid, command)
    return actor


def _shelf(session, actor: Actor) -> list[str]:  # type: ignore[no-untyped-def]
    tubes = {}
    for label, pigment in (("white", "PW6"), ("black", "PBk9"), ("umber", "PBr7/raw umber"), ("red", "PR108")):
        command = paints.PaintCreate.model_validate({"label": label, "pigments": [{"pigment": pigment}]})
        tubes[label] = paints.create(session, actor, command).uid
    uids = []
    for i in range(12):
        parts = [
            {"item": f"paint:{tubes[label]}", "parts": 1 + (i * k) % 5}
            for k, label in enumerate(("white", "umber", "red", "black"), start=1)
            if (i + k) % 3
        ]
        uids.append(
            mixes.create(session, actor, mixes.MixCreate.model_validate({"label": f"mix {i}", "parts": parts})).uid
        )
    return uids


def _layer(mix_uids: list[str], i: int, painted_at: datetime | None) -> layers.LayerCreate:
    regions = [
        {"mix_uid": mix_uids[i % len(mix_uids)], "area_pct": 70, "region": "light"},
        {"mix_uid": mix_uids[(i + 5) % len(mix_uids)], "area_pct": 30, "region": "dark"},
    ]
    thickness_um = 30 + 5 * (i % 7)
    values = {"kind": "second painting", "wet_thickness_um": thickness_um, "mixes": regions, "painted_at": painted_at}
    return layers.LayerCreate.model_validate(values)
