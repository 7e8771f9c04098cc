"""A planned panel put before the rules of soundness, every sitting on its day."""

from collections.abc import Mapping
from datetime import datetime

from server.science.results import LayerEstimate
from server.science.soundness.types import Finding, Severity
from server.services.board.closing import ground_facts
from server.services.board.facts import Moment
from server.services.board.rows import StudioRows
from server.services.board.standing import PanelStanding
from server.services.board.to_come import coming, forecast_on, laid
from server.services.verdicts import VERDICTS, Question


def first_stop(
    standing: PanelStanding, rows: StudioRows, moment: Moment, starts: Mapping[str, datetime]
) -> tuple[int, list[Finding]] | None:
    """The lowest layer to come that a rule stops on its day, by its place among them, with what stops it.

    ``starts``: when each sitting is; layers from the first without one on are not asked about.
    """
    ground, stack = ground_facts(standing.layers.panel), [layer.laid for layer in standing.layers.on]
    for n, layer in enumerate(standing.layers.to_come):
        at = starts.get(layer.row.uid)
        if at is None:
            return None
        on = at.astimezone(moment.zone).date()
        forecast = forecast_on(layer, on, moment.zone)
        upper = coming(layer, forecast if isinstance(forecast, LayerEstimate) else None, on)
        asked = Question(ground, tuple(stack), upper, drops_per_ml=rows.studio.drops_per_ml, limits=rows.limits)
        findings = VERDICTS.of(asked, at, on).findings
        stops = [finding for finding in findings if finding.severity is Severity.STOP]
        if stops:
            return n, stops
        stack.append(laid(layer, upper, at))
    return None
