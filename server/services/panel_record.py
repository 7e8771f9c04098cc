"""What a record of a panel tells: everything as it was when it was done, nothing from today's mixes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from server.science.recipe import LayerRecipe
from server.services import finish, overrides, studios
from server.services.access import Actor
from server.services.board.facts import GateFact, PanelBoard, StepFact
from server.services.board.panel_view import panel_page
from server.services.hazards import in_order, kinds_of_mix
from server.services.overrides import FrozenVerdict
from server.services.recipes import layer_from_json
from server.store.tables import FinishStep, Layer, Panel


@dataclass(frozen=True, slots=True)
class RecordFacts:
    """``recipes`` and ``kept`` go by the uid of the layer or the step: what went on, and what the rules said where
    something was done against them. ``varnish`` is the gate of a final varnish now."""

    studio: str
    is_invented: bool
    board: PanelBoard
    recipes: Mapping[str, LayerRecipe]
    surfaces: Mapping[str, str]
    kept: Mapping[str, tuple[FrozenVerdict, str]]
    steps: tuple[StepFact, ...]
    varnish: GateFact
    hazards: tuple[str, ...]


def read(session: Session, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> RecordFacts:
    """The facts of a panel's record. Raises ``NotFound``; an archived panel has its record still."""
    board = panel_page(session, actor, uid, now, zone)
    studio = studios.get(session, actor)
    painted = list(
        session.scalars(
            select(Layer)
            .join(Panel, col(Panel.id) == col(Layer.panel_id))
            .where(col(Panel.uid) == uid, col(Layer.archived_at).is_(None), col(Layer.painted_at).is_not(None))
        )
    )
    recipes = {layer.uid: layer_from_json(layer.recipe_json) for layer in painted if layer.recipe_json is not None}
    closing = board.panel.closing
    steps = closing.steps if closing else ()
    return RecordFacts(
        studio=studio.name,
        is_invented=studio.is_invented,
        board=board,
        recipes=recipes,
        surfaces={layer.uid: layer.surface or "" for layer in painted},
        kept=overrides.on_panel(session, actor, uid) | _kept_of_steps(session, steps),
        steps=steps,
        varnish=finish.gate(session, actor, uid, ("final_varnish", None), board.moment),
        hazards=in_order(kind for recipe in recipes.values() for mix in recipe.mixes for kind in kinds_of_mix(mix)),
    )


def _kept_of_steps(session: Session, steps: tuple[StepFact, ...]) -> dict[str, tuple[FrozenVerdict, str]]:
    wanted = [step.uid for step in steps if step.override_reason]
    rows = session.scalars(select(FinishStep).where(col(FinishStep.uid).in_(wanted))) if wanted else ()
    kept = ((step.uid, overrides.from_json(step.verdict_json), step.override_reason) for step in rows)
    return {uid: (verdict, reason) for uid, verdict, reason in kept if verdict is not None}
