"""What becomes of a picture after its last layer: the gates of varnish, frame, wrap, stack and transport.

The rules answer each gate; ``server.planning.finish`` says from when it may be tried, as a range.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row

from server.planning.finish import FirstDay, first_day
from server.science.finish_tests import PASSED
from server.science.results import StageRange
from server.science.soundness.types import Action, Material, Severity, Verdict
from server.services.board.facts import ClosingFact, DaySpan, FinishTestFact, GateFact, Moment, StepFact
from server.services.board.films import PanelLayers
from server.services.board.rows import StudioRows
from server.services.board.spans import day_of_age, day_span, local_day, not_before
from server.services.panels import STRETCHED_SUPPORTS
from server.services.rule_limits import thresholds_of
from server.services.verdicts import DRYING, VERDICTS, AfterPaint, Ground, LaidLayer, Question, situation

ACTIONS = (
    *(Action.OIL_OUT, Action.TEMPORARY_VARNISH, Action.FINAL_VARNISH, Action.FRAME, Action.FRAME_GLAZED),
    *(Action.WRAP, Action.STACK, Action.SHIP),
)
VARNISHES = frozenset({Action.TEMPORARY_VARNISH.value, Action.FINAL_VARNISH.value})
LONGEST_D = 36_500.0


def ground_facts(panel: Row[Any]) -> Ground:
    """Support and ground of a panel as the rules take them."""
    support = "stretched" if panel.support in STRETCHED_SUPPORTS else "rigid"
    return Ground(support, panel.ground_kind, panel.ground_surface, panel.ground_on, panel.ground_pigment)


def with_varnish(stack: tuple[LaidLayer, ...], steps: Iterable[Row[Any]], at: datetime) -> tuple[LaidLayer, ...]:
    """A stack with the coats of varnish that were put on by then, as the rules on painting over it take them.

    They stand just below the top film and as old as that: the ages that remedies name stay those of the paint.
    """
    coats = [step for step in steps if step.action in VARNISHES and step.done_at is not None and step.done_at <= at]
    if not stack or not coats:
        return stack
    top = stack[-1]
    varnish = (LaidLayer(("varnish", step.uid), Material.RETOUCH_VARNISH, top.painted_at, {}, None) for step in coats)
    return (*stack[:-1], *varnish, top)


def asking(
    layers: PanelLayers, rows: StudioRows, action: Action, at: datetime, transit_c: float | None = None
) -> Question | None:
    """The picture as it is put to the rules at an instant, by the tests there are then.

    None for bare ground, and while the drying of a film is not known.
    """
    if not layers.on or any(
        layer.laid.material in DRYING and not layer.laid.stages and layer.laid.observed is None for layer in layers.on
    ):
        return None
    panel = layers.panel
    swab = _last_swab(rows.finish_tests.get(panel.id, ()), at)
    after = AfterPaint(
        area_cm2=panel.width_mm * panel.height_mm / 100,
        transit_c=transit_c,
        swab_clean=None if swab is None else swab.result in PASSED,
        swab_at=None if swab is None else swab.tested_at,
    )
    stack = tuple(layer.laid for layer in layers.on)
    return Question(
        ground_facts(panel), stack, None, action, drops_per_ml=rows.studio.drops_per_ml, limits=rows.limits, after=after
    )


def _last_swab(tests: Iterable[Row[Any]], at: datetime) -> Row[Any] | None:
    swabs = [test for test in tests if test.method == "swab" and test.tested_at <= at]
    return swabs[-1] if swabs else None


def first_span(question: Question, moment: Moment) -> DaySpan | None:
    """From when what is asked may be tried, as days in the studio's zone."""
    found = first_day(situation(question, moment.at, moment.on), thresholds_of(question.limits))
    if found is None:
        return None
    return day_span(question.stack[-1].painted_at, as_range(found), moment.zone)


def as_range(found: FirstDay) -> StageRange:
    """The same ages as percentiles."""
    low, central, high = (min(days, LONGEST_D) for days in (found.low_d, found.central_d, found.high_d))
    return StageRange(low, low, central, high, high)


def opens_on(verdict: Verdict, question: Question, moment: Moment) -> date | None:
    """The day from which no stopping rule speaks any more, or no warning one where none stops; None where none does
    or a rule names no day."""
    for severity in (Severity.STOP, Severity.CAUTION):
        found = [finding for finding in verdict.findings if finding.severity is severity]
        days = [finding.remedy.not_before_d if finding.remedy else None for finding in found]
        if found:
            named = [day for day in days if day is not None]
            if len(named) < len(found):
                return None
            return day_of_age(question.stack[-1].painted_at, max(named), moment.zone)
    return None


def gate(layers: PanelLayers, rows: StudioRows, wanted: tuple[Action, float | None], moment: Moment) -> GateFact:
    """One gate at the moment; ``wanted`` is what is to be done, and how cold or hot it is on the way."""
    action, transit_c = wanted
    question = asking(layers, rows, action, moment.at, transit_c)
    if question is None:
        return GateFact(action.value, None, None, None, bool(layers.on))
    verdict = VERDICTS.of(question, moment.at, moment.on)
    return GateFact(action.value, verdict, first_span(question, moment), opens_on(verdict, question, moment), False)


def closing_of(layers: PanelLayers, rows: StudioRows, moment: Moment) -> ClosingFact | None:
    """What lists tell of the finish: once the panel is finished, or a step is planned or done."""
    panel = layers.panel
    rows_of_steps = rows.steps.get(panel.id, ())
    made = rows.finish_tests.get(panel.id, ())
    if panel.finished_on is None and not rows_of_steps and not made:
        return None
    steps = [_with_its_day(step_fact(row), layers, rows, moment) for row in rows_of_steps]
    since = layers.on[-1].row.painted_at if layers.on else None
    varnished_at = _last_done(rows_of_steps, Action.FINAL_VARNISH, since)
    question = asking(layers, rows, Action.FINAL_VARNISH, moment.at)
    varnish = swab_from = None
    swabbed = swab_due = False
    if question is not None and varnished_at is None:
        varnish = first_span(question, moment)
        verdict = VERDICTS.of(question, moment.at, moment.on)
        swabbed = _is_swabbed(question, verdict)
        opens = opens_on(verdict, question, moment)
        swab_due = not swabbed and opens is None
        swab_from = None if swabbed else opens or moment.on
        if varnish is not None and opens is not None:
            varnish = not_before(varnish, opens)
    tests = [finish_test_fact(row) for row in reversed(made)]
    return ClosingFact(
        tuple(sorted(steps, key=_in_order)),
        tuple(tests),
        varnish,
        swab_from,
        swab_due,
        swabbed,
        varnished_at,
        sent_on(rows_of_steps, since, moment),
        since,
    )


def sent_on(steps: Iterable[Row[Any]], since: datetime | None, moment: Moment) -> date | None:
    """The day on which a picture left, ``since`` its last layer went on; None while it has not."""
    sent_at = None if since is None else _last_done(steps, Action.SHIP, since)
    return None if sent_at is None else local_day(sent_at, moment.zone)


def _last_done(steps: Iterable[Row[Any]], action: Action, since: datetime | None) -> datetime | None:
    """When it was last done to the picture as it is: what lies under its last layer does not count."""
    done = [step.done_at for step in steps if step.action == action and step.done_at is not None]
    return max((at for at in done if since is None or at >= since), default=None)


def _with_its_day(step: StepFact, layers: PanelLayers, rows: StudioRows, moment: Moment) -> StepFact:
    """A planned step with the day before which a rule stops it, where it is planned for one sooner than that."""
    if step.done_at is not None or step.planned_on is None:
        return step
    question = asking(layers, rows, Action(step.action), moment.at, step.transit_c)
    if question is None:
        return step
    stopped = stopped_until(question, moment)
    return replace(step, opens_on=stopped) if stopped is not None and step.planned_on < stopped else step


def stopped_until(question: Question, moment: Moment) -> date | None:
    """The day until which a rule stops what is asked; None where none does now, or it names no day."""
    verdict = VERDICTS.of(question, moment.at, moment.on)
    opens = opens_on(verdict, question, moment) if verdict.verdict is Severity.STOP else None
    return opens if opens is not None and opens > moment.on else None


def _is_swabbed(question: Question, verdict: Verdict) -> bool:
    """Whether the swab stayed clean and nothing speaks against the varnish any more."""
    is_clean = question.after is not None and question.after.swab_clean is True
    return is_clean and verdict.verdict in (Severity.SOUND, Severity.NOTE)


def _in_order(step: StepFact) -> tuple[bool, float]:
    if step.done_at is not None:
        return True, -step.done_at.timestamp()
    return False, float(step.planned_on.toordinal()) if step.planned_on else float(date.max.toordinal())


def step_fact(row: Row[Any]) -> StepFact:
    names = "uid version action planned_on done_at transit_c note override_reason"
    return StepFact(**{name: getattr(row, name) for name in names.split()})


def finish_test_fact(row: Row[Any]) -> FinishTestFact:
    names = "uid method result tested_at place_on_panel note"
    return FinishTestFact(**{name: getattr(row, name) for name in names.split()}, passed=row.result in PASSED)
