"""Fills an empty database with the demo studio: an invented painter's panels, around the moment it is made.

It goes through the services, so that the demo holds nothing a painter could not have entered, and every record has its
history. The same moment makes the same studio, up to the random ids.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from functools import partial
from heapq import heapify, heappop, heapreplace
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlmodel import Session, col

from seed_demo import planned
from seed_demo.panels import PANELS, SITTINGS, LayerStory, PanelStory, Pressed, SittingStory, StepStory, Tried
from seed_demo.shelf import BLENDS, MEDIUMS, SPIRITS, TUBES
from server.services import (
    finish,
    finish_tests,
    layers,
    mediums,
    mixes,
    paints,
    panels,
    places,
    planning,
    sitting_ends,
    stack_starters,
    thinners,
    touch_tests,
)
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
WORKING_HOURS = (("12345", "09:00", "12:30"), ("2", "13:30", "17:00"), ("4", "13:30", "17:00"))  # weekdays, from, until
DRYING_RACK = {1: (16, 58), 2: (16, 58), 3: (17, 58), 10: (19, 60), 11: (18, 60), 12: (16, 60)}


Act = tuple[datetime, Callable[[datetime], None]]


class NotEmpty(Exception):
    """The database holds a studio already; the demo is never mixed into somebody's records."""


def seed(db: Database, now: datetime) -> None:
    """Make the demo studio in ``db`` as of ``now`` (aware). Raises ``NotEmpty`` when any studio is there."""
    actor = _studio(db, now)
    shelf_at = now - timedelta(days=SHELF_DAYS_AGO)
    with unit(db, actor, label="Set up the rooms and the shelf", now=shelf_at) as work:
        shelf = _Shelf(work.session, actor)
        shelf.fill()
        stack_starters.add(work.session, actor)
        for weekdays, start, end in WORKING_HOURS:
            hours = planning.WorkTimeCreate(painter="Painter", weekdays=weekdays, start=start, end=end)
            planning.create(work.session, actor, hours)
    _Story(db, actor, shelf, now).tell(PANELS, SITTINGS)
    zone = ZoneInfo(TIME_ZONE)
    planned.plan(db, actor, now, zone)
    planned.quote(db, actor, shelf.places["Easel room"], now, zone)


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
            amounts = {"tube_ml": tube.tube_ml, "left_ml": tube.tube_ml}
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

    def tell(self, stories: Iterable[PanelStory], sittings: Iterable[SittingStory]) -> None:
        """Each story says when its next event is and waits for its turn: the history is in the order of time."""
        told = [self._events(story) for story in stories] + [self._sitting(story) for story in sittings]
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
        """The story's acts in the order of their moments; those of one moment in the order they are written."""
        made: dict[str, str] = {}
        for moment, act in sorted(self._acts(story, made), key=lambda item: item[0]):
            yield moment
            act(moment)

    def _acts(self, story: PanelStory, made: dict[str, str]) -> Iterator[Act]:
        """Everything that is done in a story; ``made`` comes to hold the uid of its panel."""
        begun = max([layer.days_ago for layer in story.layers if layer.days_ago is not None], default=1)
        yield self._before(begun + 1), partial(self._begin, story, made)
        for layer in story.layers:
            yield from self._layer(story, made, layer)
        if story.finished_days_ago is not None:
            yield self._before(story.finished_days_ago), partial(self._finish, story, made)
        for test in story.finish_tests:
            yield self._before(test.days_ago), partial(self._finish_test, story, made, test)
        for step in story.steps:
            done = step.done_days_ago
            moment = self._last_act(story) if done is None else self._before(done)
            yield moment, partial(self._step, story, made, step)

    def _begin(self, story: PanelStory, made: dict[str, str], moment: datetime) -> None:
        with unit(self.db, self.actor, label=f"Added “{story.title}”", now=moment) as work:
            made["panel"] = panels.create(work.session, self.actor, self._panel(story)).uid

    def _finish(self, story: PanelStory, made: dict[str, str], moment: datetime) -> None:
        with unit(self.db, self.actor, label=f"Finished “{story.title}”", now=moment) as work:
            panels.finish(work.session, self.actor, made["panel"])

    def _finish_test(self, story: PanelStory, made: dict[str, str], test: Tried, moment: datetime) -> None:
        with unit(self.db, self.actor, label=f"Tested “{story.title}”: {test.method}", now=moment) as work:
            values = {"method": test.method, "result": test.result, "place_on_panel": test.where, "note": test.note}
            command = finish_tests.FinishTestCreate.model_validate(values)
            finish_tests.log(work.session, self.actor, made["panel"], command)

    def _step(self, story: PanelStory, made: dict[str, str], step: StepStory, moment: datetime) -> None:
        today = self.now.astimezone(self.zone).date()
        is_done = step.done_days_ago is not None
        label = f"{'Did' if is_done else 'Planned'} for “{story.title}”: {step.action.replace('_', ' ')}"
        with unit(self.db, self.actor, label=label, now=moment) as work:
            command = finish.FinishStepCreate.model_validate(
                {
                    "action": step.action,
                    "planned_on": None if step.planned_in is None else today + timedelta(days=step.planned_in),
                    "done_at": moment if is_done else None,
                    "transit_c": step.transit_c,
                    "note": step.note,
                    "override_reason": step.because,
                }
            )
            finish.create(work.session, self.actor, made["panel"], command)

    def _sitting(self, story: SittingStory) -> Iterator[datetime]:
        moment = self._before(story.days_ago)
        yield moment
        left = [
            {"mix_uid": self.shelf.mixes[mix], "left_ml": amount, "kept_in": kept} for mix, amount, kept in story.left
        ]
        seen = [
            {"paint_uid": self.shelf.items[tube.label].removeprefix("paint:"), "left_ml": tube.left_ml}
            for tube in TUBES
        ]
        values = {"rags": story.rags, "brushes": True, "lids": True, "mixes": left, "note": story.note}
        values["tubes"] = seen if story.sees_tubes else []
        with unit(self.db, self.actor, label="Ended the sitting", now=moment) as work:
            sitting_ends.create(work.session, self.actor, sitting_ends.SittingEndCreate.model_validate(values))

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

    def _layer(self, panel: PanelStory, made: dict[str, str], story: LayerStory) -> Iterator[Act]:
        painted_at = None if story.days_ago is None else self._before(story.days_ago)
        uid: list[str] = []

        def paint(moment: datetime) -> None:
            label = f"{'Painted' if painted_at else 'Planned'} the {story.kind} of “{panel.title}”"
            with unit(self.db, self.actor, label=label, now=moment) as work:
                command = self._command(story, painted_at)
                uid.append(layers.create(work.session, self.actor, made["panel"], command).uid)

        yield painted_at or self._last_act(panel), paint
        for test in story.tests:
            yield self._before(test.days_ago), partial(self._press, panel, uid, test)

    def _press(self, panel: PanelStory, uid: list[str], test: Pressed, moment: datetime) -> None:
        values = {"pressed_at": moment, "stage": test.stage, "place_on_panel": test.where, "note": test.note}
        told = f"Touch test on “{panel.title}”: {test.stage.replace('_', '-')}"
        with unit(self.db, self.actor, label=told, now=moment) as work:
            command = touch_tests.TouchTestCreate.model_validate(values)
            touch_tests.log(work.session, self.actor, uid[0], command)

    def _last_act(self, panel: PanelStory) -> datetime:
        """What is still to come is planned yesterday, or when the panel was painted, pressed or seen to last."""
        painted = [layer for layer in panel.layers if layer.days_ago is not None]
        days = [layer.days_ago for layer in painted] + [test.days_ago for layer in painted for test in layer.tests]
        days += [step.done_days_ago for step in panel.steps] + [test.days_ago for test in panel.finish_tests]
        return max([self._before(1), *(self._before(day) for day in days if day is not None)])

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
                "override_reason": story.because,
            }
        )
