"""Fills an empty database with the demo studio: an invented painter's panels, around the moment it is made.

It goes through the services, so that the demo holds nothing a painter could not have entered, and every record has its
history. The same moment makes the same studio, up to the random ids.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from heapq import heapify, heappop, heapreplace
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlmodel import Session, col

from seed_demo.panels import PANELS, LayerStory, PanelStory
from seed_demo.shelf import BLENDS, MEDIUMS, SPIRITS, TUBES
from server.services import layers, mediums, mixes, paints, panels, places, thinners, touch_tests
from server.services.access import Actor
from server.services.unit import unit
from server.store.db import Database
from server.store.tables import Studio

STUDIO_NAME = "Reedmace Yard"
TIME_ZONE = "Europe/Lisbon"
PAINTER = "painter"
PAINTING_HOUR = 10
SHELF_DAYS_AGO = 200

# The easel room is heated; the rack stands in a cooler passage. Invented readings, month by month: (C, % humidity).
EASEL_ROOM = {
    **dict.fromkeys((1, 2), (19, 48)),
    **dict.fromkeys((3, 4, 11, 12), (20, 51)),
    **dict.fromkeys((5, 6, 9, 10), (22, 55)),
    **dict.fromkeys((7, 8), (24, 55)),
}
YEAR_ROUND = {"temperature_c": 20, "relative_humidity_pct": 52}
DRYING_RACK = {1: (16, 58), 2: (16, 58), 3: (17, 58), 10: (19, 60), 11: (18, 60), 12: (16, 60)}


class NotEmpty(Exception):
    """The database holds a studio already; the demo is never mixed into somebody's records."""


def seed(db: Database, now: datetime) -> None:
    """Make the demo studio in ``db`` as of ``now`` (aware). Raises ``NotEmpty`` when any studio is there."""
    actor = _studio(db, now)
    shelf_at = now - timedelta(days=SHELF_DAYS_AGO)
    with unit(db, actor, label="Set up the rooms and the shelf", now=shelf_at) as work:
        shelf = _Shelf(work.session, actor)
        shelf.fill()
    _Story(db, actor, shelf, now).tell(PANELS)


def _studio(db: Database, now: datetime) -> Actor:
    with db.write() as session:
        if session.scalar(select(func.count(col(Studio.id)))):
            raise NotEmpty("This database holds a studio already. The demo wants an empty one.")
        studio = Studio(name=STUDIO_NAME, time_zone=TIME_ZONE, is_invented=True, created_at=now, updated_at=now)
        session.add(studio)
        session.flush()
        assert studio.id is not None
        return Actor(name=PAINTER, studio_id=studio.id)


class _Shelf:
    """Everything that panels refer to, by its label."""

    def __init__(self, session: Session, actor: Actor) -> None:
        self.session = session
        self.actor = actor
        self.items: dict[str, str] = {}
        self.mixes: dict[str, str] = {}
        self.places: dict[str, str] = {}
        self.thinner = ""

    def fill(self) -> None:
        self._places()
        for tube in TUBES:
            rows = [{"pigment": pigment, "share_pct": share} for pigment, share in tube.pigments]
            values = {"label": tube.label, "oil": tube.oil, "pigments": rows}
            amounts = {"tube_ml": tube.tube_ml, "left_ml": tube.left_ml}
            command = paints.PaintCreate.model_validate(values | amounts)
            self.items[tube.label] = f"paint:{paints.create(self.session, self.actor, command).uid}"
        for label, parts in MEDIUMS:
            rows = [{"material": material, "parts": amount} for material, amount in parts]
            medium = mediums.MediumCreate.model_validate({"label": label, "parts": rows})
            self.items[label] = f"medium:{mediums.create(self.session, self.actor, medium).uid}"
        spirits = thinners.ThinnerCreate(label=SPIRITS, solvent="odourless_mineral_spirits")
        self.thinner = thinners.create(self.session, self.actor, spirits).uid
        for blend in BLENDS:
            rows = [{"item": self.items[label], "parts": amount} for label, amount in blend.parts]
            mix = mixes.MixCreate.model_validate({"label": blend.label, "parts": rows, "swatch": blend.swatch})
            self.mixes[blend.label] = mixes.create(self.session, self.actor, mix).uid

    def _places(self) -> None:
        for name, light, climate in (("Easel room", "room", EASEL_ROOM), ("Drying rack", "dim", DRYING_RACK)):
            months = [
                {"month": month, "temperature_c": temperature, "relative_humidity_pct": humidity}
                for month, (temperature, humidity) in climate.items()
            ]
            place = places.PlaceCreate.model_validate(
                {"name": name, "light": light, "measured": True, **YEAR_ROUND, "months": months}
            )
            self.places[name] = places.create(self.session, self.actor, place).uid


class _Story:
    """Tells the panels' stories side by side, every event in a unit of its own at its own moment."""

    def __init__(self, db: Database, actor: Actor, shelf: _Shelf, now: datetime) -> None:
        self.db = db
        self.actor = actor
        self.shelf = shelf
        self.now = now
        self.zone = ZoneInfo(TIME_ZONE)

    def tell(self, stories: Iterable[PanelStory]) -> None:
        """Each story says when its next event is and waits for its turn: the history is in the order of time."""
        told = [self._events(story) for story in stories]
        waiting = [(next(events), number) for number, events in enumerate(told)]
        heapify(waiting)
        while waiting:
            _, number = waiting[0]
            then = next(told[number], None)
            if then is None:
                heappop(waiting)
            else:
                heapreplace(waiting, (then, number))

    def _events(self, story: PanelStory) -> Iterator[datetime]:
        begun = max([layer.days_ago for layer in story.layers if layer.days_ago is not None], default=1)
        moment = self._before(begun + 1)
        yield moment
        with unit(self.db, self.actor, label=f"Added “{story.title}”", now=moment) as work:
            uid = panels.create(work.session, self.actor, self._panel(story)).uid
        for layer in story.layers:
            yield from self._layer(story, uid, layer)
        if story.finished_days_ago is not None:
            yield self._before(story.finished_days_ago)
            self._finish(story, uid, self._before(story.finished_days_ago))

    def _finish(self, story: PanelStory, uid: str, finished_at: datetime) -> None:
        with unit(self.db, self.actor, label=f"Finished “{story.title}”", now=finished_at) as work:
            stored = panels.public(work.session, panels.get(work.session, self.actor, uid))
            finished_on = finished_at.astimezone(self.zone).date()
            panels.update(work.session, self.actor, uid, stored.model_copy(update={"finished_on": finished_on}))

    def _before(self, days: float) -> datetime:
        """So many days before now: whole days at the painting hour, others to the minute."""
        if days != int(days):
            return self.now - timedelta(days=days)
        day = self.now.astimezone(self.zone).date() - timedelta(days=int(days))
        at_hour = datetime(day.year, day.month, day.day, PAINTING_HOUR, tzinfo=self.zone)
        return min(at_hour.astimezone(self.now.tzinfo), self.now)

    def _panel(self, story: PanelStory) -> panels.PanelCreate:
        today = self.now.astimezone(self.zone).date()
        begun = max([layer.days_ago for layer in story.layers if layer.days_ago is not None], default=0)
        return panels.PanelCreate.model_validate(
            {
                "title": story.title,
                "width_cm": story.size_cm[0],
                "height_cm": story.size_cm[1],
                "support": story.support,
                "ground_kind": story.ground_kind,
                "ground_surface": story.ground_surface,
                "ground_on": today - timedelta(days=int(begun) + story.ground_days_ago),
                "place_uid": self.shelf.places[story.place],
                "due_on": None if story.due_in is None else today + timedelta(days=story.due_in),
                "due_for": story.due_for,
                "notes": story.notes,
            }
        )

    def _layer(self, panel: PanelStory, panel_uid: str, story: LayerStory) -> Iterator[datetime]:
        painted_at = None if story.days_ago is None else self._before(story.days_ago)
        label = f"{'Painted' if painted_at else 'Planned'} the {story.kind} of “{panel.title}”"
        moment = painted_at or max([self._before(1), *self._acts(panel)])
        yield moment
        with unit(self.db, self.actor, label=label, now=moment) as work:
            uid = layers.create(work.session, self.actor, panel_uid, self._command(story, painted_at)).uid
        for test in story.tests:
            pressed_at = self._before(test.days_ago)
            yield pressed_at
            values = {"pressed_at": pressed_at, "stage": test.stage, "place_on_panel": test.where, "note": test.note}
            told = f"Touch test on “{panel.title}”: {test.stage.replace('_', '-')}"
            with unit(self.db, self.actor, label=told, now=pressed_at) as work:
                command = touch_tests.TouchTestCreate.model_validate(values)
                touch_tests.log(work.session, self.actor, uid, command)

    def _acts(self, panel: PanelStory) -> list[datetime]:
        """When its layers were painted and pressed."""
        painted = [layer for layer in panel.layers if layer.days_ago is not None]
        days = [layer.days_ago for layer in painted] + [test.days_ago for layer in painted for test in layer.tests]
        return [self._before(day) for day in days if day is not None]

    def _command(self, story: LayerStory, painted_at: datetime | None) -> layers.LayerCreate:
        today = self.now.astimezone(self.zone).date()
        rows = [
            {"mix_uid": self.shelf.mixes[mix], "area_pct": share, "region": region}
            for mix, share, region in story.regions
        ]
        return layers.LayerCreate.model_validate(
            {
                "kind": story.kind,
                "material": story.material,
                "wet_thickness_um": story.wet_um,
                "texture": story.texture,
                "thinner_uid": self.shelf.thinner if story.solvent_pct else None,
                "solvent_pct": story.solvent_pct,
                "wet_in_wet": story.wet_in_wet,
                "sitting_min": story.sitting_min,
                "planned_on": None if story.planned_in is None else today + timedelta(days=story.planned_in),
                "painted_at": painted_at,
                "mixes": rows,
                "notes": story.notes,
            }
        )
