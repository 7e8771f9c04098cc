"""What lies between a panel's last layer and its date: what is still done to it, packing, the way.

Every reckoning of a date counts these by this module, with a plan in use and without one. What is to be done is what
the panel's ``finish`` names and what is planned of it until its date; the rules R35 and R36 say how long each waits.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Row

from server.planning.finish import FirstDay, first_day
from server.science.results import LayerEstimate, Stage, StageRange
from server.science.soundness.types import Action
from server.services.board.closing import as_range, asking, ground_facts, sent_on, stopped_until
from server.services.board.facts import Moment
from server.services.board.films import LayerToCome, PanelLayers
from server.services.board.rows import StudioRows
from server.services.board.spans import instant, local_day
from server.services.board.to_come import coming, forecast_on, laid
from server.services.rule_limits import thresholds_of
from server.services.verdicts import AfterPaint, LaidLayer, Question, situation

AT_ONCE = StageRange(0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Handling:
    """Days between dry, with all done to it, and delivered."""

    packing_d: int = 0
    transit_d: int = 0

    @property
    def days(self) -> int:
        return self.packing_d + self.transit_d


def handling_of(panel: Row[Any]) -> Handling:
    """Only what goes to somebody is packed and sent: a panel without a date is done when it may leave."""
    return Handling(panel.packing_d, panel.transit_d) if panel.due_on else Handling()


@dataclass(frozen=True, slots=True)
class ToDo:
    """One thing that is still to be done to a panel, with the day it is planned for, if any."""

    action: str
    planned_on: date | None = None


@dataclass(frozen=True, slots=True)
class Wait:
    """Something to be done: ``after`` is how old the last layer is when it may be.

    ``opens_on``: until that day a rule stops it; None where none does, or the last layer is not on yet.
    """

    todo: ToDo
    after: StageRange
    opens_on: date | None = None


@dataclass(frozen=True, slots=True)
class Leaving:
    """All that a panel's date counts after its last layer.

    ``sends_on``: the day on which it is planned to leave; ``sent_on``: when it did. ``is_known``: False while nobody
    can say when something may be done. ``beyond``: what is planned for after the date, and so not counted.
    """

    handling: Handling = Handling()
    waits: tuple[Wait, ...] = ()
    sends_on: date | None = None
    sent_on: date | None = None
    is_known: bool = True
    beyond: ToDo | None = None


def leaving_of(layers: PanelLayers, to_come: Sequence[LayerToCome], rows: StudioRows, moment: Moment) -> Leaving:
    """What is counted of a panel with these layers still to come."""
    panel = layers.panel
    if panel.due_on is None:
        return Leaving()
    steps = rows.steps.get(panel.id, ())
    since = layers.on[-1].row.painted_at if layers.on and not to_come else None
    handling, left_on = handling_of(panel), sent_on(steps, since, moment)
    if left_on is not None:
        return Leaving(handling, sent_on=left_on)
    waits = waits_of(layers, to_come, rows, moment)
    planned = [step.planned_on for step in _planned(steps) if step.action == Action.SHIP and step.planned_on]
    return Leaving(
        handling,
        waits or (),
        sends_on=max(planned, default=None),
        is_known=waits is not None,
        beyond=_beyond(panel, steps),
    )


def waits_of(
    layers: PanelLayers, to_come: Sequence[LayerToCome], rows: StudioRows, moment: Moment
) -> tuple[Wait, ...] | None:
    """How long each thing still to be done waits for the last layer; None where a film's drying is not known."""
    steps = rows.steps.get(layers.panel.id, ())
    since = layers.on[-1].row.painted_at if layers.on and not to_come else None
    todos = [todo for todo in to_do(layers.panel, steps, since) if todo.action != Action.SHIP]
    if not todos or not (to_come or layers.on):
        return ()
    if to_come:
        return tuple(Wait(todo, found) for todo, found in _after_stack(todos, layers, to_come, (rows, moment)))
    found = [_after_painted(todo, layers, rows, moment) for todo in todos]
    known = tuple(wait for wait in found if wait is not None)
    return known if len(known) == len(found) else None


def to_do(panel: Row[Any], steps: Iterable[Row[Any]], since: datetime | None) -> list[ToDo]:
    """What is still to be done to a panel before it leaves for its date: what its ``finish`` names, and what is planned
    until then. ``since``: when the last layer went on; what was done after that is done."""
    done = {step.action for step in steps if since and step.done_at is not None and step.done_at >= since}
    planned = [step for step in _planned(steps) if step.action == panel.finish or _is_before(panel, step)]
    named = panel.finish and panel.finish not in {*done, *(step.action for step in planned)}
    return [*([ToDo(panel.finish)] if named else []), *(ToDo(step.action, step.planned_on) for step in planned)]


def _planned(steps: Iterable[Row[Any]]) -> list[Row[Any]]:
    return [step for step in steps if step.done_at is None]


def _is_before(panel: Row[Any], step: Row[Any]) -> bool:
    return panel.due_on is not None and (step.planned_on is None or step.planned_on <= panel.due_on)


def _beyond(panel: Row[Any], steps: Iterable[Row[Any]]) -> ToDo | None:
    later = [step for step in _planned(steps) if step.action != panel.finish and not _is_before(panel, step)]
    first = min(later, key=lambda step: step.planned_on, default=None)
    return None if first is None else ToDo(first.action, first.planned_on)


def _after_painted(todo: ToDo, layers: PanelLayers, rows: StudioRows, moment: Moment) -> Wait | None:
    question = asking(layers, rows, Action(todo.action), moment.at)
    if question is None:
        return None
    found = first_day(situation(question, moment.at, moment.on), thresholds_of(rows.limits))
    return Wait(todo, _ages(found), stopped_until(question, moment))


def _after_stack(
    todos: Sequence[ToDo], layers: PanelLayers, to_come: Sequence[LayerToCome], at: tuple[StudioRows, Moment]
) -> list[tuple[ToDo, StageRange]]:
    """The same of the stack as it will stand, every layer to come laid as soon as the one below takes it."""
    rows, moment = at
    panel = layers.panel
    stack, top_at = _stack(to_come, [layer.laid for layer in layers.on], moment)
    then = instant(moment.at, top_at)
    made = []
    for todo in todos:
        question = Question(
            ground_facts(panel),
            tuple(stack),
            None,
            Action(todo.action),
            drops_per_ml=rows.studio.drops_per_ml,
            limits=rows.limits,
            after=AfterPaint(area_cm2=panel.width_mm * panel.height_mm / 100),
        )
        found = first_day(situation(question, then, local_day(then, moment.zone)), thresholds_of(rows.limits))
        made.append((todo, _ages(found)))
    return made


def _ages(found: FirstDay | None) -> StageRange:
    """What waits for nothing may be done at once."""
    return AT_ONCE if found is None else as_range(found)


def _stack(to_come: Sequence[LayerToCome], below: list[LaidLayer], moment: Moment) -> tuple[list[LaidLayer], float]:
    """The stack as it will stand, and after how many days its last layer goes on."""
    stack, waited_d = list(below), 0.0
    for number, layer in enumerate(to_come):
        at = instant(moment.at, waited_d) + timedelta(minutes=number)
        on = local_day(at, moment.zone)
        forecast = forecast_on(layer, on, moment.zone)
        estimate = forecast if isinstance(forecast, LayerEstimate) else None
        stack.append(laid(layer, coming(layer, estimate, on), at))
        if estimate is not None and number < len(to_come) - 1:
            waited_d += estimate.stages[Stage.DRY_TO_RECOAT].p50_d
    return stack, waited_d
