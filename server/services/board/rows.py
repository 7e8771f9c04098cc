"""The rows a board is made of, read with a number of queries that does not grow with the studio."""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from itertools import count
from typing import Any

from sqlalchemy import Row, Select, String, cast, func, select
from sqlmodel import Session, col

from server.services import learning_data
from server.services.access import Actor
from server.services.kept import Kept
from server.services.learning import BOOK, StudioLearning
from server.services.plan_reading import Called, PlanInUse, PlannedSitting, as_called, in_use, waits
from server.services.recipes import MixBook
from server.services.rule_limits import Edits, edits_of
from server.services.whereabouts import PlaceRow, Whereabouts, whereabouts
from server.store.tables import (
    FinishStep,
    FinishTest,
    Layer,
    LayerMix,
    Panel,
    SittingEnd,
    SittingMix,
    Studio,
    TouchTest,
    WorkTime,
)

PANEL = (
    "id uid version title width_mm height_mm place_id support ground_kind ground_surface ground_pigment ground_on "
    "due_on due_for weight finish packing_d transit_d finished_on archived_at notes"
)
LAYER = (
    "id uid version panel_id kind material thickness_preset wet_thickness_um texture thinner_id solvent_pct "
    "wet_in_wet surface sitting_min planned_on painted_at notes"
)
REGION = "layer_id mix_id region area_share"
TEST = "uid layer_id pressed_at stage place_on_panel region occasion note doubt is_sure"
STEP = "uid version panel_id action planned_on done_at transit_c note override_reason"
FINISH_TEST = "uid panel_id method result tested_at place_on_panel note"


MIXES_KEPT, NAMED_KEPT = 20_000, 64
_mixes: Kept[int] = Kept(MIXES_KEPT)
_named_plans: Kept[tuple[PlanInUse, PlanInUse]] = Kept(NAMED_KEPT)  # plans as they were read, and by names of now
_numbers = count(1)


@dataclass(frozen=True, slots=True)
class StudioRows:
    """A studio's records as rows: panels in the order of their titles, the rest by the id of what they belong to.

    ``layers`` run from the lowest up; a painted layer's ``recipe_text`` is its frozen recipe as JSON text, and
    ``forecast_text`` likewise where asked for. ``tests`` run from the earliest on; mistaken ones are left out.
    ``shelf`` has a number for each mix, the same for the same content. ``limits`` are the studio's own limits of the
    rules. ``steps`` and ``finish_tests`` of the finish go by panel, tests from the earliest on; ``covered_to`` is up to
    when the ends of sittings cover what was painted. ``plan`` is the plan in use, under the names of now, ``hours``
    when painters work. ``plan_waits``: another one waits to be taken or left.
    """

    studio: Row[Any]
    panels: list[Row[Any]]
    layers: Mapping[int, list[Row[Any]]]
    regions: Mapping[int, list[Row[Any]]]
    tests: Mapping[int, list[Row[Any]]]
    where: Whereabouts
    book: MixBook = field(repr=False)
    shelf: Mapping[int, int]
    limits: Edits
    steps: Mapping[int, list[Row[Any]]] = field(default_factory=dict)
    finish_tests: Mapping[int, list[Row[Any]]] = field(default_factory=dict)
    covered_to: datetime | None = None
    learning: StudioLearning = BOOK
    plan: PlanInUse | None = None
    leftovers: tuple[Row[Any], ...] = ()
    hours: tuple[Row[Any], ...] = ()
    plan_waits: bool = False

    @property
    def places(self) -> Mapping[int, PlaceRow]:
        """Every place of the studio by its id, put away ones too."""
        return self.where.places

    def place_of(self, panel: Row[Any]) -> PlaceRow:
        """Where a panel was last put."""
        return self.where.now(panel.id, panel.place_id)

    @property
    def called(self) -> Mapping[str, Called]:
        """What every layer is called, and every panel, by their uids."""
        layers = {
            layer.uid: Called(panel.title, layer.kind, self.palette_of(layer), panel.uid)
            for panel in self.panels
            for layer in self.layers.get(panel.id, ())
        }
        return {**{panel.uid: Called(panel.title, panel_uid=panel.uid) for panel in self.panels}, **layers}

    def palette_of(self, layer: Row[Any]) -> str | None:
        """What is mixed for a layer, as plans name it; None where it takes no mix."""
        return palette_words(self.book.mixes[region.mix_id].label for region in self.regions.get(layer.id, ()))

    def content(self, panel: Row[Any]) -> Hashable:
        """Everything that what is told of a panel depends on, but for the moment."""
        layers = self.layers.get(panel.id, ())
        regions = tuple(tuple(map(tuple, self.regions.get(layer.id, ()))) for layer in layers)
        return (
            *(
                panel,
                self.where.key_of(panel.id, panel.place_id),
                self.studio,
                self.limits,
                self.learning.number,
            ),
            tuple(map(tuple, layers)),  # as tuples rows are told apart in no time
            regions,
            tuple(self.shelf.get(region.mix_id) for layer in layers for region in self.regions.get(layer.id, ())),
            tuple(self.book.solvents.get(layer.thinner_id) for layer in layers if layer.thinner_id is not None),
            tuple(tuple(self.tests.get(layer.id, ())) for layer in layers),
            *(tuple(self.steps.get(panel.id, ())), tuple(self.finish_tests.get(panel.id, ()))),
            tuple(self.sitting_of(layer) for layer in layers),
        )

    def told(self, panel: Row[Any]) -> Hashable:
        """``content`` with what odds and sittings depend on besides: the whole plan in use, when painters work, and
        what is mixed already for another panel that day."""
        plan = None if self.plan is None else (self.plan.uid, self.plan.version)
        mixed = tuple(map(self._mixed_at, self.layers.get(panel.id, ())))
        return self.content(panel), plan, self.hours, mixed

    def _mixed_at(self, layer: Row[Any]) -> datetime | None:
        sitting = self.sitting_of(layer)
        if sitting is None or self.plan is None:
            return None
        return self.plan.mixed.get((sitting.palette or "", sitting.painter, sitting.on))

    def sitting_of(self, layer: Row[Any]) -> PlannedSitting | None:
        """When the plan in use has a layer painted; None for one that is on, and where its day was changed since."""
        found = None if self.plan is None or layer.painted_at is not None else self.plan.sittings.get(layer.uid)
        return found if found is not None and found.on == layer.planned_on else None


def load(
    session: Session, actor: Actor, panel_uid: str | None = None, with_promises: bool = False
) -> StudioRows | None:
    """All open panels of the actor's studio, or one panel, archived or not; None when there is no such panel.

    ``with_promises`` reads what was forecast when the layers were painted.
    """
    studio_id = actor.studio_id
    panels_wanted = select(*_columns(Panel, PANEL)).where(col(Panel.studio_id) == studio_id)
    if panel_uid is None:
        panels_wanted = panels_wanted.where(col(Panel.archived_at).is_(None)).order_by(col(Panel.title), col(Panel.id))
    else:
        panels_wanted = panels_wanted.where(col(Panel.uid) == panel_uid)
    panels = list(session.execute(panels_wanted).all())
    if panel_uid is not None and not panels:
        return None
    studio = session.execute(
        select(*_columns(Studio, "confidence_pct drops_per_ml share_wait_d")).where(col(Studio.id) == studio_id)
    ).one()
    only = panels[0].id if panel_uid is not None else None
    book = MixBook.load(session, studio_id)
    where = whereabouts(session, studio_id)
    rows = StudioRows(
        studio,
        panels,
        _by(session.execute(_layers(studio_id, only, with_promises)), "panel_id"),
        _by(session.execute(_regions(studio_id, only)), "layer_id"),
        _by(session.execute(_tests(studio_id, only)), "layer_id"),
        where,
        book,
        _shelf_numbers(book),
        edits_of(session, studio_id),
        _by(session.execute(_of_panels(FinishStep, STEP, studio_id, only)), "panel_id"),
        _by(session.execute(_of_panels(FinishTest, FINISH_TEST, studio_id, only)), "panel_id"),
        _covered_to(session, studio_id),
        learning_data.read(session, studio_id, where),
        in_use(session, studio_id),
        _leftovers(session, studio_id),
        _hours(session, studio_id),
        waits(session, studio_id),
    )
    others = {} if panel_uid is None or rows.plan is None else _called_elsewhere(session, rows, studio_id)
    return replace(rows, plan=_named(rows, others))


def palette_words(labels: Iterable[str]) -> str | None:
    """``Sky and Umber``; cut where many long names make it too long to be told."""
    return _palette_words(tuple(labels))


@lru_cache(maxsize=4096)  # the same few are laid again and again
def _palette_words(labels: tuple[str, ...]) -> str | None:
    found = sorted(set(labels))
    return " and ".join(found)[:120] if found else None


def _called_elsewhere(session: Session, rows: StudioRows, studio_id: int) -> dict[str, Called]:
    """What the layers to come of all panels, and these, are called, for where one panel alone is read: what is mixed
    for another one is mixed already that day."""
    own: Any = col(Panel.uid).label("panel_uid")
    columns = (col(Layer.uid), col(Layer.kind), col(Panel.title), own, col(LayerMix.mix_id))
    layers: Any = select(*columns).select_from(Layer)
    wanted = _open_layers(layers.outerjoin(LayerMix, col(LayerMix.layer_id) == col(Layer.id)), studio_id, None)
    found: dict[str, list[Row[Any]]] = defaultdict(list)
    for row in session.execute(wanted.where(col(Layer.painted_at).is_(None))):
        found[row.uid].append(row)
    mixes = rows.book.mixes
    called: dict[str, Called] = {}
    for uid, some in found.items():
        title, panel_uid = some[0].title, some[0].panel_uid
        palette = palette_words(mixes[one.mix_id].label for one in some if one.mix_id)
        called[uid] = Called(title, some[0].kind, palette, panel_uid)
        called[panel_uid] = Called(title, panel_uid=panel_uid)
    return called


def _named(rows: StudioRows, others: Mapping[str, Called]) -> PlanInUse | None:
    if rows.plan is None:
        return None
    names = {**others, **rows.called}
    key = id(rows.plan), tuple(names.items())
    found = _named_plans.get(key)
    if found is None or found[0] is not rows.plan:
        sittings = {uid: as_called(one, names) for uid, one in rows.plan.sittings.items()}
        is_as_it_was = all(one is rows.plan.sittings[uid] for uid, one in sittings.items())
        found = rows.plan, rows.plan if is_as_it_was else replace(rows.plan, sittings=sittings)
        _named_plans.keep({key: found})
    return found[1]


def _columns(table: Any, names: str) -> list[Any]:
    return [getattr(table, name) for name in names.split()]


def _by(rows: Iterable[Row[Any]], key: str) -> dict[int, list[Row[Any]]]:
    groups: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in rows:
        groups[getattr(row, key)].append(row)
    return groups


def _open_layers(wanted: Select[Any], studio_id: int, panel_id: int | None) -> Select[Any]:
    wanted = wanted.where(col(Layer.studio_id) == studio_id, col(Layer.archived_at).is_(None))
    if panel_id is not None:
        return wanted.where(col(Layer.panel_id) == panel_id)
    return wanted.join(Panel, col(Panel.id) == col(Layer.panel_id)).where(col(Panel.archived_at).is_(None))


def _shelf_numbers(book: MixBook) -> dict[int, int]:
    """One number for each content of a mix, since the content itself is long to compare."""
    contents = {mix.mix_id: (mix.uid, mix.label, mix.swatch, mix.content) for mix in book.mixes.values()}
    known = _mixes.among(contents.values())
    new: dict[Hashable, int] = {content: next(_numbers) for content in contents.values() if content not in known}
    _mixes.keep(new)
    known |= new
    return {mix_id: known[content] for mix_id, content in contents.items()}


def _layers(studio_id: int, panel_id: int | None, with_promises: bool) -> Select[Any]:
    texts = [
        cast(col(Layer.recipe_json), String).label("recipe_text"),
        cast(col(Layer.forecast_json), String).label("forecast_text"),
    ]
    wanted = select(*_columns(Layer, LAYER), *(texts if with_promises else texts[:1]))
    return _open_layers(wanted, studio_id, panel_id).order_by(col(Layer.panel_id), col(Layer.position), col(Layer.id))


def _regions(studio_id: int, panel_id: int | None) -> Select[Any]:
    wanted = select(*_columns(LayerMix, REGION)).join(Layer, col(Layer.id) == col(LayerMix.layer_id))
    return _open_layers(wanted, studio_id, panel_id).order_by(col(LayerMix.layer_id), col(LayerMix.position))


def _tests(studio_id: int, panel_id: int | None) -> Select[Any]:
    wanted = select(*_columns(TouchTest, TEST)).join(Layer, col(Layer.id) == col(TouchTest.layer_id))
    return (
        _open_layers(wanted, studio_id, panel_id)
        .where(col(TouchTest.archived_at).is_(None))
        .order_by(col(TouchTest.layer_id), col(TouchTest.pressed_at), col(TouchTest.id))
    )


def _of_panels(table: Any, names: str, studio_id: int, panel_id: int | None) -> Select[Any]:
    """Steps or tests of the finish that stand: tests in the order they were made."""
    wanted = select(*_columns(table, names)).where(table.studio_id == studio_id, table.archived_at.is_(None))
    if panel_id is not None:
        wanted = wanted.where(table.panel_id == panel_id)
    when: Any = table.id if table is FinishStep else table.tested_at
    return wanted.order_by(table.panel_id, when, table.id)


def _hours(session: Session, studio_id: int) -> tuple[Row[Any], ...]:
    wanted = select(*_columns(WorkTime, "painter weekdays on_date until_on rule start_min end_min created_at"))
    mine = wanted.where(col(WorkTime.studio_id) == studio_id, col(WorkTime.archived_at).is_(None))
    return tuple(session.execute(mine.order_by(col(WorkTime.id))))


def _covered_to(session: Session, studio_id: int) -> datetime | None:
    """Up to when the ends of sittings cover what was painted."""
    wanted = select(func.max(col(SittingEnd.covers_to))).where(
        col(SittingEnd.studio_id) == studio_id, col(SittingEnd.archived_at).is_(None)
    )
    return session.scalars(wanted).one()


def _leftovers(session: Session, studio_id: int) -> tuple[Row[Any], ...]:
    """Where each mix was left over last, and how much of it."""
    names = (col(SittingMix.mix_id), col(SittingMix.left_ml), col(SittingMix.kept_in), col(SittingEnd.ended_at))
    found = session.execute(
        select(*names)
        .join(SittingEnd, col(SittingEnd.id) == col(SittingMix.sitting_end_id))
        .where(col(SittingEnd.studio_id) == studio_id, col(SittingEnd.archived_at).is_(None))
        .order_by(col(SittingEnd.ended_at), col(SittingMix.position))
    )
    return tuple({row.mix_id: row for row in found}.values())
