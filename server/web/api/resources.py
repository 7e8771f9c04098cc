"""The records that programs read and change under /api/v1: one line each, from which ``records.py`` makes the routes.

A new kind of record is one more `Resource` here; its service has ``get``, ``public``, ``archive`` and ``restore``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from server.services import (
    finish,
    finish_tests,
    layers,
    mediums,
    mixes,
    paints,
    panel_moves,
    panels,
    places,
    planning,
    stack_plans,
    thinners,
    touch_tests,
)
from server.services.fields import Command
from server.store.tables import (
    FinishStep,
    FinishTest,
    Layer,
    Medium,
    Mix,
    Paint,
    Panel,
    PanelMove,
    Place,
    StackPlan,
    StudioRecord,
    Thinner,
    TouchTest,
    WorkTime,
)


@dataclass(frozen=True, slots=True)
class Parent:
    """The record that others belong to: ``one`` as in "panel", and where it stands among the paths."""

    one: str
    path: str
    table: type[StudioRecord]

    @property
    def column(self) -> str:
        return f"{self.one}_id"


@dataclass(frozen=True, slots=True)
class Deed:
    """Something done to a record besides changing it: its path, what it is called, and the command it takes.

    ``with_version``: the command changes what was read, so that If-Match is wanted. ``does`` takes session, actor, uid
    and the command, where there is one.
    """

    path: str
    told: str
    does: Callable[..., Any]
    command: type[Command] | None = None
    with_version: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """``path`` is the plural in addresses, ``one`` what a single one is called, ``name`` its schema's.

    ``add`` takes session, actor, the parent's uid where there is a parent, and the command. ``title`` names a record in
    the history.
    """

    path: str
    one: str
    name: str
    table: type[StudioRecord]
    service: ModuleType
    create: type[Command]
    update: type[Command] | None
    add: Callable[..., Any]
    title: Callable[[Any], str]
    page: Callable[[Any], str]
    parent: Parent | None = None
    deeds: tuple[Deed, ...] = ()

    @property
    def shown(self) -> type[Command]:
        """What is told of one: the command that would leave it as it is."""
        return self.update or self.create


PANEL = Parent("panel", "panels", Panel)
LAYER = Parent("layer", "layers", Layer)


def _label(record: Any) -> str:
    return f" “{record.label}”"


def _panel_pages(record: Any) -> str:
    return "/panels"


RESOURCES: tuple[Resource, ...] = (
    Resource(
        path="panels",
        one="panel",
        name="Panel",
        table=Panel,
        service=panels,
        create=panels.PanelCreate,
        update=panels.PanelUpdate,
        add=panels.create,
        title=lambda panel: f" “{panel.title}”",
        page=lambda panel: f"/panels/{panel.uid}",
        deeds=(Deed("finish", "Finished", panels.finish),),
    ),
    Resource(
        path="layers",
        one="layer",
        name="Layer",
        table=Layer,
        service=layers,
        create=layers.LayerCreate,
        update=layers.LayerUpdate,
        add=layers.create,
        title=lambda layer: f" “{layer.kind}”",
        page=_panel_pages,
        parent=PANEL,
        deeds=(
            Deed("paint", "Painted", layers.paint, layers.LayerPaint, with_version=True),
            Deed("unpaint", "Took back the painting of", layers.unpaint),
        ),
    ),
    Resource(
        path="touch-tests",
        one="touch test",
        name="TouchTest",
        table=TouchTest,
        service=touch_tests,
        create=touch_tests.TouchTestCreate,
        update=touch_tests.TouchTestUpdate,
        add=touch_tests.log,
        title=lambda test: "",
        page=_panel_pages,
        parent=LAYER,
        deeds=(Deed("sure", "Confirmed", touch_tests.confirm),),
    ),
    Resource(
        path="finish-steps",
        one="step of the finish",
        name="FinishStep",
        table=FinishStep,
        service=finish,
        create=finish.FinishStepCreate,
        update=finish.FinishStepUpdate,
        add=finish.create,
        title=lambda step: "",
        page=_panel_pages,
        parent=PANEL,
        deeds=(
            Deed("do", "Did", finish.do, finish.FinishStepDo, with_version=True),
            Deed("undone", "Put back to planned", finish.undo_done),
        ),
    ),
    Resource(
        path="finish-tests",
        one="test of a picture",
        name="FinishTest",
        table=FinishTest,
        service=finish_tests,
        create=finish_tests.FinishTestCreate,
        update=finish_tests.FinishTestUpdate,
        add=finish_tests.log,
        title=lambda test: "",
        page=_panel_pages,
        parent=PANEL,
    ),
    Resource(
        path="paints",
        one="paint",
        name="Paint",
        table=Paint,
        service=paints,
        create=paints.PaintCreate,
        update=paints.PaintUpdate,
        add=paints.create,
        title=_label,
        page=lambda paint: f"/shelf#{paint.uid}",
    ),
    Resource(
        path="mediums",
        one="medium",
        name="Medium",
        table=Medium,
        service=mediums,
        create=mediums.MediumCreate,
        update=mediums.MediumUpdate,
        add=mediums.create,
        title=_label,
        page=lambda medium: f"/shelf#{medium.uid}",
    ),
    Resource(
        path="thinners",
        one="thinner",
        name="Thinner",
        table=Thinner,
        service=thinners,
        create=thinners.ThinnerCreate,
        update=thinners.ThinnerUpdate,
        add=thinners.create,
        title=_label,
        page=lambda thinner: f"/shelf#{thinner.uid}",
    ),
    Resource(
        path="mixes",
        one="mix",
        name="Mix",
        table=Mix,
        service=mixes,
        create=mixes.MixCreate,
        update=mixes.MixUpdate,
        add=mixes.create,
        title=_label,
        page=lambda mix: f"/mixes/{mix.uid}",
    ),
    Resource(
        path="places",
        one="place",
        name="Place",
        table=Place,
        service=places,
        create=places.PlaceCreate,
        update=places.PlaceUpdate,
        add=places.create,
        title=lambda place: f" “{place.name}”",
        page=lambda place: f"/room#{place.uid}",
    ),
    Resource(
        path="stacks",
        one="stack",
        name="Stack",
        table=StackPlan,
        service=stack_plans,
        create=stack_plans.StackCreate,
        update=stack_plans.StackUpdate,
        add=stack_plans.create,
        title=_label,
        page=lambda plan: f"/stacks/{plan.uid}",
    ),
    Resource(
        path="moves",
        one="move",
        name="Move",
        table=PanelMove,
        service=panel_moves,
        create=panel_moves.MoveCreate,
        update=panel_moves.MoveUpdate,
        add=panel_moves.create,
        title=lambda move: "",
        page=_panel_pages,
        parent=PANEL,
    ),
    Resource(
        path="working-hours",
        one="stretch of work",
        name="WorkingHours",
        table=WorkTime,
        service=planning,
        create=planning.WorkTimeCreate,
        update=None,
        add=planning.create,
        title=lambda row: f" of {row.painter or 'everybody'}",
        page=lambda row: "/plan/hours",
    ),
)


def resource_of(path: str) -> Resource:
    """The resource whose plural stands in addresses."""
    return next(each for each in RESOURCES if each.path == path)
