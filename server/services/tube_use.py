"""What painting takes out of the tubes, and what is left in them.

Nothing is counted down in the tube's own row: it keeps what the painter said was left, and when. What was painted since
is taken off whenever somebody asks, from the recipes that were frozen with the layers. So a layer that is taken back,
corrected or archived gives its paint back by itself, in whatever order things are undone.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from math import floor, log10

from sqlalchemy import Row, select
from sqlmodel import Session, col

from server.science.composition import needed_ml
from server.science.recipe import LayerRecipe, MixRecipe
from server.services.recipes import layer_from_json
from server.store.tables import Layer, Paint, Panel

# Smooth panel 1.0, fine canvas 1.2, coarse 1.5 to 2 (from memory); the middle of the last.
TEXTURE_FACTORS = {"smooth": 1.0, "fine_canvas": 1.2, "coarse": 1.75}
NOTHING = 0.01  # of a millilitre or an ounce: below it there is nothing to tell


def taken_by(recipe: LayerRecipe, area_cm2: float, texture: str) -> dict[str, float]:
    """Millilitres that a layer takes out of each tube, by the tube's uid; loss on brush and palette included.

    A part of a mix that names no tube of the studio takes nothing.
    """
    taken: dict[str, float] = defaultdict(float)
    for mix in recipe.mixes:
        ml = needed_ml(area_cm2, recipe.wet_thickness_um, mix.area_share, TEXTURE_FACTORS[texture])
        for tube, share in _tube_shares(mix).items():
            taken[tube] += ml * share
    return dict(taken)


def _tube_shares(mix: MixRecipe) -> dict[str, float]:
    """Of the wet volume; what is counted without parts (drier, clove oil) has next to none."""
    whole = sum(paint.parts for paint in mix.paints) + sum(part.parts for part in mix.additions)
    shares: dict[str, float] = defaultdict(float)
    for paint in mix.paints:
        if paint.tube is not None and whole > 0.0:
            shares[paint.tube] += paint.parts / whole
    return shares


def taken_since(session: Session, studio_id: int, said: Mapping[str, datetime]) -> dict[str, float]:
    """Millilitres that were painted out of each tube after the moment at which its content was ``said``, in one query.

    Layers of archived panels count; a layer that was archived, or put back to planned, does not.
    """
    if not said:
        return {}
    wanted = (
        select(
            *(getattr(Layer, name) for name in ("painted_at", "texture", "recipe_json")),
            *(getattr(Panel, name) for name in ("width_mm", "height_mm")),
        )
        .join(Panel, col(Panel.id) == col(Layer.panel_id))
        .where(
            col(Layer.studio_id) == studio_id,
            col(Layer.archived_at).is_(None),
            col(Layer.painted_at) > min(said.values()),
        )
    )
    taken: dict[str, float] = dict.fromkeys(said, 0.0)
    for row in session.execute(wanted):
        for tube, ml in _of_row(row).items():
            if tube in said and row.painted_at > said[tube]:
                taken[tube] += ml
    return taken


def _of_row(row: Row[tuple[object, ...]]) -> dict[str, float]:
    if row.recipe_json is None:
        return {}
    return taken_by(layer_from_json(row.recipe_json), row.width_mm * row.height_mm / 100, row.texture)


def left_now(session: Session, studio_id: int, paints: Iterable[Paint | Row[tuple[object, ...]]]) -> dict[str, float]:
    """What is left in each tube whose content is known, by its uid, in one query; never less than nothing.

    ``paints`` have ``uid``, ``left_ml`` and ``left_at``.
    """
    known: dict[str, tuple[float, datetime | None]] = {
        paint.uid: (paint.left_ml, paint.left_at) for paint in paints if paint.left_ml is not None
    }
    taken = taken_since(session, studio_id, {uid: at for uid, (_, at) in known.items() if at is not None})
    return {uid: max(0.0, left_ml - taken.get(uid, 0.0)) for uid, (left_ml, _) in known.items()}


def rough(value: float) -> float:
    """A quantity that is known to about a tenth, as it is told: 17, 8.5, 75."""
    return round(value / _step(value)) * _step(value)


def told_alike(one_ml: float, other_ml: float) -> bool:
    """Whether two volumes are the same as far as they are told."""
    return abs(one_ml - other_ml) <= max(_step(one_ml), _step(other_ml)) / 2 * (1 + 1e-9)


def _step(value: float) -> float:
    """A tenth of the first digit's unit where that is 1 or 2, half of it above."""
    unit = 10.0 ** floor(log10(max(value, NOTHING)))
    return unit / 2 if value >= 3 * unit else unit / 10
