"""How full the tubes are against what is planned: what layers to come need of each, and the day it runs out."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Row, select
from sqlmodel import Session, col

from server.science.recipe import Ground
from server.services.access import Actor, allow
from server.services.board.facts import Moment
from server.services.board.rows import StudioRows
from server.services.board.snapshot import snapshot
from server.services.recipes import layer_recipe
from server.services.tube_use import left_now, taken_by
from server.store.tables import Paint


@dataclass(frozen=True, slots=True)
class TubeNeed:
    """What one planned layer takes out of a tube. ``on`` its day, today for one that is overdue; None: no day yet."""

    on: date | None
    title: str
    kind: str
    ml: float


@dataclass(frozen=True, slots=True)
class TubeFact:
    """One tube: ``left_ml`` by what was said and painted since, None while nobody knows.

    ``planned_ml`` is what the layers with a day need, ``undated_ml`` what those without one need besides. ``runs_out``
    is the first layer with a day that the tube is not enough for; None too while its content is not known.
    """

    uid: str
    label: str
    left_ml: float | None
    planned_ml: float
    undated_ml: float
    runs_out: TubeNeed | None

    @property
    def is_short(self) -> bool:
        """Whether it is enough for what has a day, and not for all that is planned."""
        return self.left_ml is not None and self.runs_out is None and self.planned_ml + self.undated_ml > self.left_ml

    @property
    def runs_low(self) -> bool:
        """Whether what is planned is more than what is left; a tube of unknown content never does."""
        return self.runs_out is not None or self.is_short


def tubes(session: Session, actor: Actor, moment: Moment) -> Mapping[str, TubeFact]:
    """Every tube on the shelf by its uid. The number of queries does not depend on what is planned."""
    allow(actor, "read", None)
    found = snapshot(session, actor)
    return found.keep(("tubes", moment.today), lambda: _facts(session, actor, (found.rows, moment)))


def running_low(facts: Mapping[str, TubeFact], until: date | None = None) -> tuple[TubeFact, ...]:
    """The tubes that do not hold what is planned, those first that run out first; with ``until``: by that day."""
    low = [fact for fact in facts.values() if fact.runs_low and (until is None or _day(fact.runs_out) <= until)]
    return tuple(sorted(low, key=lambda fact: (_day(fact.runs_out), fact.label.casefold())))


def _facts(session: Session, actor: Actor, found: tuple[StudioRows, Moment]) -> dict[str, TubeFact]:
    wanted = select(*(getattr(Paint, name) for name in ("uid", "label", "left_ml", "left_at"))).where(
        col(Paint.studio_id) == actor.studio_id, col(Paint.archived_at).is_(None)
    )
    paints = session.execute(wanted).all()
    left = left_now(session, actor.studio_id, paints)
    needs = _needs(*found)
    return {paint.uid: _fact(paint, left.get(paint.uid), needs.get(paint.uid, ())) for paint in paints}


def _fact(paint: Row[Any], left_ml: float | None, needs: Iterable[TubeNeed]) -> TubeFact:
    dated = sorted((need for need in needs if need.on is not None), key=lambda need: (_day(need), need.title))
    taken, runs_out = 0.0, None
    for need in dated:
        taken += need.ml
        if runs_out is None and left_ml is not None and taken > left_ml:
            runs_out = need
    undated = sum(need.ml for need in needs if need.on is None)
    return TubeFact(paint.uid, paint.label, left_ml, taken, undated, runs_out)


def _needs(rows: StudioRows, moment: Moment) -> dict[str, list[TubeNeed]]:
    """What the planned layers of panels that are still painted on take, by tube."""
    needs: dict[str, list[TubeNeed]] = defaultdict(list)
    for panel in rows.panels:
        if panel.finished_on is not None:
            continue
        for layer in rows.layers.get(panel.id, ()):
            if layer.painted_at is not None:
                continue
            recipe = layer_recipe(layer, rows.regions.get(layer.id, ()), rows.book, Ground.PAINT)
            if recipe is None:
                continue
            on = None if layer.planned_on is None else max(layer.planned_on, moment.today)
            for tube, ml in taken_by(recipe, panel.width_mm * panel.height_mm / 100, layer.texture).items():
                needs[tube].append(TubeNeed(on, panel.title, layer.kind, ml))
    return needs


def _day(need: TubeNeed | None) -> date:
    return date.max if need is None or need.on is None else need.on
