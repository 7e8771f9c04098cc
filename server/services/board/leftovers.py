"""Mixes that were left over and are kept: which of them want a dab of a test before they skin.

Where a mix was left more than once, the last time counts. How long it keeps is the rule of thumb of
``server/science/keeping.py``, no more.
"""

from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Row

from server.science.keeping import KeptIn, keeps
from server.science.recipe import Ground, LayerRecipe
from server.science.results import LayerEstimate
from server.services.board.facts import LeftoverFact, Moment
from server.services.board.rows import StudioRows
from server.services.board.spans import local_day
from server.services.climates import room_in
from server.services.forecasts import FORECASTS, question_of
from server.services.learning_effects import Where

KEPT = {
    "tray": KeptIn.COVERED,
    "sealed": KeptIn.SEALED,
    "fridge": KeptIn.REFRIGERATOR,
    "freezer": KeptIn.FREEZER,
}
USUAL_UM = 50.0  # a normal brush: the film whose setting the rule of thumb stretches
BEFORE = timedelta(days=2)  # so long before it skins a mix is told
AFTER = timedelta(days=5)  # and so long after that it is told as likely lost


def reminders(rows: StudioRows, moment: Moment) -> tuple[LeftoverFact, ...]:
    """The kept mixes that are about to skin, or likely did of late; the most urgent first."""
    oldest = moment.at - timedelta(days=60)
    kept = [row for row in rows.leftovers if oldest < row.ended_at <= moment.at and row.left_ml != 0]
    facts = [fact for row in kept if (fact := _fact(row, rows, moment)) is not None]
    told = [fact for fact in facts if moment.at - AFTER <= fact.use_by_at <= moment.at + BEFORE]
    return tuple(sorted(told, key=lambda fact: fact.use_by_at))


def _painted_in(rows: StudioRows, at: datetime) -> Where | None:
    """The place of the sitting: where the layer dries that was painted last before its end; the first place where
    nothing is known of one, None without any place."""
    painted = [
        (layer.painted_at, panel)
        for panel in rows.panels
        for layer in rows.layers.get(panel.id, ())
        if layer.painted_at is not None and layer.painted_at <= at
    ]
    if not painted:
        return next((Where(place.uid, place.climate.seen_from(at)) for place in rows.places.values()), None)
    painted_at, panel = max(painted, key=lambda pair: pair[0])
    return rows.where.of_layer(panel.id, panel.place_id, painted_at)


def _fact(row: Row[Any], rows: StudioRows, moment: Moment) -> LeftoverFact | None:
    mix = rows.book.mixes.get(row.mix_id)
    where = _painted_in(rows, row.ended_at)
    if mix is None or mix.recipe is None or where is None:
        return None
    layer = LayerRecipe(USUAL_UM, Ground.PAINT, (mix.recipe,))
    pair = layer, room_in(where.climate, row.ended_at, moment.zone)
    [found] = FORECASTS.ask([question_of(pair, rows.learning.of(where))])
    if not isinstance(found, LayerEstimate):
        return None
    kept = next(each for each in keeps(mix.recipe, found.stages) if each.kept_in is KEPT[row.kept_in])
    use_by_at = row.ended_at + timedelta(days=kept.use_by_d)
    return LeftoverFact(
        mix.uid,
        mix.label,
        row.left_ml,
        row.kept_in,
        use_by_at,
        local_day(use_by_at, moment.zone),
        use_by_at < moment.at,
    )
