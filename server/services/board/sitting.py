"""A sitting that was not ended yet, from a studio's rows."""

from datetime import timedelta

from server.services.board.facts import Moment, SatAt, SittingFact
from server.services.board.films import frozen_recipe
from server.services.board.rows import StudioRows
from server.services.board.shown import hazards_of
from server.services.hazards import in_order
from server.services.verdicts import DRYING

# Rags have caught fire from hours up to two or three days later (fire investigators, read second-hand); after that
# a prompt would come too late.
ASKED_FOR = timedelta(days=3)


def open_sitting(rows: StudioRows, moment: Moment) -> SittingFact | None:
    """What was painted with oil, alkyd or drier since the last end of a sitting; None where nothing asks for one."""
    since = moment.at - ASKED_FOR
    if rows.covered_to is not None:
        since = max(since, rows.covered_to)
    painted = []
    kinds: set[str] = set()
    for panel in rows.panels:
        for layer in rows.layers.get(panel.id, ()):
            if layer.painted_at is None or not since < layer.painted_at <= moment.at:
                continue
            found = hazards_of(frozen_recipe(layer.recipe_text) if layer.recipe_text else None)
            if layer.material in DRYING or "rags" in found:
                painted.append(SatAt(panel.uid, panel.title, layer.kind, layer.painted_at))
                kinds.update(found, ("rags",))
    painted.sort(key=lambda sat: sat.painted_at)
    return SittingFact(tuple(painted), in_order(kinds)) if painted else None
