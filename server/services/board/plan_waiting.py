"""The plan that waits, read as if it were taken: which of its sittings hold no more by now, and what it comes to."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, cast

from sqlalchemy import Row
from sqlmodel import Session

from server.services.access import Actor
from server.services.board.facts import Moment, PanelFact
from server.services.board.rows import StudioRows
from server.services.board.snapshot import snapshot
from server.services.board.today import panel_facts
from server.services.plan_reading import PlanInUse, as_called, as_in_use
from server.services.planning_since import is_changed_since
from server.store.tables import StudioPlan


@dataclass(frozen=True, slots=True)
class _OnItsDay:
    """A layer as it is stored, but for the day it is planned on."""

    row: Row[Any]
    planned_on: date

    def __getattr__(self, name: str) -> Any:
        return getattr(self.row, name)

    def __iter__(self) -> Iterator[Any]:
        """Its values, which tell it from the layer as it is stored."""
        return iter((*self.row, self.planned_on))


def facts_by_now(session: Session, actor: Actor, waiting: StudioPlan, moment: Moment) -> Mapping[str, PanelFact]:
    """Every panel as it would stand by now with the plan that waits, by uid. One that was made just now holds, comes to
    what it says, and is not asked about."""
    if not waiting.content_json:
        return {}
    is_of_today = waiting.content_json.get("made_on") == moment.on.isoformat()
    if is_of_today and not is_changed_since(session, actor, waiting):
        return {}
    return {fact.uid: fact for fact in _facts_if_taken(snapshot(session, actor).rows, as_in_use(waiting), moment)}


def _facts_if_taken(rows: StudioRows, waiting: PlanInUse, moment: Moment) -> Sequence[PanelFact]:
    """Every panel as it would stand if a plan were taken at this moment."""
    names = rows.called
    called = replace(waiting, sittings={uid: as_called(one, names) for uid, one in waiting.sittings.items()})
    taken = replace(rows, plan=called, layers={key: _on_their_days(some, waiting) for key, some in rows.layers.items()})
    return panel_facts(taken, moment)


def _on_their_days(layers: list[Row[Any]], plan: PlanInUse) -> list[Row[Any]]:
    """The layers of a panel, those that are planned on the days of the plan."""
    found = []
    for layer in layers:
        sitting = plan.sittings.get(layer.uid) if layer.painted_at is None else None
        found.append(layer if sitting is None else cast("Row[Any]", _OnItsDay(layer, sitting.on)))
    return found
