"""What the rules ask of a layer to come over what lies below it, and for how long they ask to wait.

The one reckoning of it: a plan rests a layer for so long, and the odds of a panel without a plan count the same days.
"""

from collections.abc import Sequence
from datetime import datetime
from math import inf
from zoneinfo import ZoneInfo

from server.science.soundness.check import order_of
from server.science.soundness.types import Finding, Severity, Verdict
from server.services.board.closing import ground_facts, with_varnish
from server.services.board.films import PanelLayers
from server.services.board.rows import StudioRows
from server.services.board.spans import start_of_day
from server.services.plan_reading import Rest
from server.services.verdicts import Question

LONGEST_REST_D = 730.0  # whom a rule asks to wait longer had better change the layer
LONGER = 1.05  # what a rule asks for a second time is asked for a little longer: on other days layers dry otherwise


def over_what_lies(layers: PanelLayers, rows: StudioRows, at: datetime) -> Question:
    """The rules asked over what lies on a panel at that instant; what is to go on it is still to be said."""
    stack = with_varnish(tuple(layer.laid for layer in layers.on), rows.steps.get(layers.panel.id, ()), at)
    return Question(ground_facts(layers.panel), stack, None, drops_per_ml=rows.studio.drops_per_ml, limits=rows.limits)


def lies_since(layers: PanelLayers, zone: ZoneInfo) -> datetime | None:
    """When what the next layer goes over was laid, the top layer or the bare ground; None where nobody said."""
    if layers.on:
        painted_at: datetime = layers.on[-1].row.painted_at
        return painted_at
    laid_on = layers.panel.ground_on
    return None if laid_on is None else start_of_day(laid_on, zone)


def found_in(verdict: Verdict, severity: Severity) -> list[Finding]:
    return [finding for finding in verdict.findings if finding.severity is severity]


def wait_asked(stops: Sequence[Finding], before: Rest | None = None, lies_d: float = 0.0) -> Rest | Finding:
    """For how long the layer below has to lie so that none of these stops the one above, in days of the calendar.

    A finding is what stops it however long it lies, or for longer than anybody waits. ``before``: the wait that was
    found already, and after which it is stopped still. ``lies_d``: for so many days it has lain by now.
    """
    by = reason_of(stops)
    days = by.holds_d
    if days == inf:
        return by
    if before is not None and before.is_stop:
        days = max(days, before.days * LONGER)
    return by if days - lies_d > LONGEST_REST_D else Rest(days, by.rule, by.title, is_stop=True)


def reason_of(stops: Sequence[Finding]) -> Finding:
    """Of several stops the one to name: the one that comes first in a verdict."""
    return min(stops, key=order_of)
