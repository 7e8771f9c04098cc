"""What became of the sittings of the plan in use: which stand, which are painted, whose day was changed by hand."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.services.access import Actor
from server.services.board.facts import Moment, PanelFact, Standing
from server.services.board.marked import broken_of
from server.services.board.rows import StudioRows
from server.services.board.snapshot import snapshot
from server.services.board.today import moment_of, panel_facts
from server.services.plan_reading import BrokenSitting, Called, PlannedSitting

Fate = Literal["stands", "painted", "moved"]


@dataclass(frozen=True, slots=True)
class SittingNow:
    """A sitting as it was planned, and what became of it; ``broken``: why one that stands holds no more."""

    plan: PlannedSitting
    fate: Fate
    broken: BrokenSitting | None = None


@dataclass(frozen=True, slots=True)
class PlanNow:
    """The sittings of the plan in use whose layers are still there, by their times; ``to_come``: the planned day of
    every layer of an open panel that is not on yet, by its uid; ``painted``: the layers of open panels that are on;
    ``panels``: of these panels the uids, each with its layers to come; ``called``: what their layers are called."""

    sittings: tuple[SittingNow, ...] = ()
    to_come: Mapping[str, date | None] = field(default_factory=dict)
    painted: frozenset[str] = frozenset()
    panels: Mapping[str, frozenset[str]] = field(default_factory=dict)
    called: Mapping[str, Called] = field(default_factory=dict)

    @property
    def standing(self) -> tuple[SittingNow, ...]:
        return tuple(one for one in self.sittings if one.fate == "stands")

    @property
    def partial(self) -> frozenset[str]:
        """The panels of which a layer to come has no sitting that stands."""
        stand = {one.plan.uid for one in self.standing}
        return frozenset(uid for uid, to_come in self.panels.items() if not to_come <= stand)

    @property
    def changed(self) -> frozenset[str]:
        """The panels of which something is not as it was planned."""
        return frozenset(one.plan.panel_uid for one in self.sittings if one.fate != "stands" or one.broken is not None)


def plan_now(session: Session, actor: Actor, now: datetime, zone: ZoneInfo) -> PlanNow:
    """The plan in use, read as every other screen reads it."""
    return plan_in(snapshot(session, actor).rows, moment_of(now, zone))


def plan_in(rows: StudioRows, moment: Moment, facts: Collection[PanelFact] | None = None) -> PlanNow:
    """The same from rows that were read already. ``facts``: of every panel, where they are known."""
    every = [layer for panel in rows.panels for layer in rows.layers.get(panel.id, ())]
    to_come = {layer.uid: layer.planned_on for layer in every if layer.painted_at is None}
    panels = {
        panel.uid: frozenset(layer.uid for layer in rows.layers.get(panel.id, ()) if layer.uid in to_come)
        for panel in rows.panels
    }
    painted = frozenset(one.uid for one in every if one.uid not in to_come)
    return PlanNow(_sittings(rows, moment, facts), to_come, painted, panels, rows.called)


def _sittings(rows: StudioRows, moment: Moment, facts: Collection[PanelFact] | None) -> tuple[SittingNow, ...]:
    if rows.plan is None:
        return ()
    broken = broken_of(panel_facts(rows, moment) if facts is None else facts)
    layers = {layer.uid: layer for panel in rows.panels for layer in rows.layers.get(panel.id, ())}
    found = []
    for sitting in rows.plan.sittings.values():
        layer = layers.get(sitting.uid)
        if layer is not None:
            stands = rows.sitting_of(layer) is not None
            fate: Fate = "stands" if stands else "painted" if layer.painted_at is not None else "moved"
            found.append(SittingNow(sitting, fate, broken.get(sitting.uid)))
    return tuple(found)


def comes_to(fact: PanelFact | None, planned: date | None) -> tuple[date | None, int] | None:
    """The day on which a panel of the plan in use can be delivered by now (``planned`` where nothing else is known),
    and by how many days that is late; None where it is finished or has no date."""
    if fact is None or fact.standing is Standing.FINISHED or fact.due is None:
        return None
    finish = fact.due.ready_on or planned
    return finish, 0 if finish is None else max(0, (finish - fact.due.on).days)
