"""The calendar's facts as its drawing and its lists take them: days from the first day shown, and each mark's words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from server.formats.drawings_calendar import CalendarFilm, CalendarPin, Spread, day_offset
from server.formats.drawings_calendar import CalendarRow as DrawnRow
from server.science.results import Stage, StageRange
from server.services.board.calendar_facts import CalendarLayer, CalendarRow
from server.services.board.facts import ClosingFact, Moment, PanelFact, Standing
from server.services.give_way import give_way
from server.services.plan_reading import PlannedSitting
from server.web import action_words, plan_words, standing_words, words
from server.web.language.filled import Filled
from server.web.manner import first_weekday

FURTHER_MONTHS = 24
NEVER = StageRange(36_500.0, 36_500.0, 36_500.0, 36_500.0, 36_500.0)


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that falls on a day: ``kind`` is a shape's name. Where it may fall on several days, ``words`` tell them
    and ``on`` is the central or the first one. ``at`` is its moment, where it has one."""

    on: date
    kind: str
    title: str
    href: str
    words: str
    at: datetime | None = None


def drawn_rows(rows: Iterable[CalendarRow], first_on: date, moment: Moment) -> list[DrawnRow]:
    """Every panel as a row of the drawing that begins on ``first_on``."""
    return [_row(row, first_on, moment) for row in rows]


def _row(row: CalendarRow, first_on: date, moment: Moment) -> DrawnRow:
    give_way()
    panel = row.panel
    href = f"/panels/{panel.uid}"
    films = tuple(_films(_drawn_layers(row, moment.today), first_on, moment, href))
    pins = (*_pins(panel, first_on, moment, href), *_stopped_pins(row, first_on, moment, href))
    return DrawnRow(
        title=panel.title,
        href=href,
        films=films,
        pins=pins,
        state=panel.top.state.value if panel.top else "bare",
        words=f"“{panel.title}”: {row_words(panel, moment.today)}",
    )


def is_stopped_for_good(panel: PanelFact, today: date) -> bool:
    """Whether a rule stops the next layer whatever the day: then no day is told of what is planned."""
    allowed = panel.rest.allowed_from
    return panel.standing is Standing.STOPPED and not (allowed is not None and allowed > today)


def _drawn_layers(row: CalendarRow, today: date) -> Sequence[CalendarLayer]:
    is_stopped = is_stopped_for_good(row.panel, today)
    return [layer for layer in row.layers if not layer.is_planned or (layer.goes_on and not is_stopped)]


def row_words(panel: PanelFact, today: date) -> str:
    """``Rests until it is touch-dry, likely Thursday to Saturday``."""
    word = standing_words.STANDING_WORDS[panel.standing]
    detail = standing_words.rest_words(panel, today)
    return f"{word}: {detail}" if detail else word


def _films(layers: Sequence[CalendarLayer], first_on: date, moment: Moment, href: str) -> Iterable[CalendarFilm]:
    for place, layer in enumerate(layers):
        start = day_offset(layer.start, first_on, moment.zone)
        above = layers[place + 1] if place + 1 < len(layers) else None
        until = None if above is None else max(start, day_offset(above.start, first_on, moment.zone))
        yield CalendarFilm(
            label=layer.kind,
            start=start,
            set_to_touch=_spread(layer.stages, Stage.SET_TO_TOUCH, start),
            dry_to_touch=_spread(layer.stages, Stage.DRY_TO_TOUCH, start),
            dry_through=_spread(layer.stages, Stage.DRY_THROUGH, start),
            until=until,
            is_planned=layer.is_planned,
            colour=layer.colour,
            words=layer_words(layer, moment),
            href=f"{href}#layer-{layer.uid}",
        )


def _spread(stages: Mapping[Stage, StageRange], stage: Stage, start: float) -> Spread:
    # A film without a forecast is not said to dry within the days shown.
    found = stages.get(stage, NEVER)
    return Spread(*(start + days for days in (found.p05_d, found.p10_d, found.p50_d, found.p90_d, found.p95_d)))


def layer_words(layer: CalendarLayer, moment: Moment) -> str:
    """``underpainting painted Monday, touch-dry likely Thursday to Saturday``."""
    today = moment.today
    if layer.is_planned and layer.sitting is not None:
        return _sitting_words(layer, layer.sitting, today)
    if layer.is_planned:
        went_on = f"{layer.kind} may go on {standing_words.span_words(layer.start_days, today)}"
    else:
        went_on = f"{layer.kind} painted {words.day_words(layer.start_days.low, today)}"
    touch = layer.days.get(Stage.DRY_TO_TOUCH)
    if touch is None:
        return went_on
    told = f"{went_on}, touch-dry {standing_words.span_words(touch, today)}"
    # The days of a layer to come are those of its central start: the start's own range is not in them.
    is_open = layer.is_planned and layer.start_days.low != layer.start_days.high
    return f"{told} if painted {words.day_words(layer.start_days.central, today)}" if is_open else told


def _sitting_words(layer: CalendarLayer, sitting: PlannedSitting, today: date, is_beneath_day: bool = False) -> str:
    """``glaze: Thursday at 09:30, with Ada. Why this day? As soon as ... May slip to Friday at 09:30``.

    ``is_beneath_day``: a heading tells the day already."""
    when = plan_words.when_words(sitting, today)
    broken = plan_words.broken_words(sitting, today)
    if layer.start != sitting.start_at:
        likely = standing_words.span_words(layer.start_days, today)
        if not broken or (sitting.broken and sitting.broken.why == "not_ready"):
            return _told_to(sitting, f"{layer.kind} was planned {when}; it may go on later, {likely}")
        return _told_to(sitting, f"{layer.kind} was planned {when}; {broken}; it may go on {likely}")
    if is_beneath_day:
        when = plan_words.clock_words(sitting)
    if broken and is_beneath_day:
        return _told_to(sitting, f"{layer.kind} was planned for this day, {when}; {broken}")
    if broken:
        return _told_to(sitting, f"{layer.kind} was planned {when}; {broken}")
    why = f". Why this day? {plan_words.why_words(sitting, today).rstrip('.')}" if sitting.why else ""
    return f"{layer.kind}: {when}{why}"


def _told_to(sitting: PlannedSitting, told: str) -> str:
    """What somebody who plans can do about it is told to nobody else."""
    return told if sitting.broken is not None and not sitting.broken.can_mend else f"{told}: plan anew"


def _pins(panel: PanelFact, first_on: date, moment: Moment, href: str) -> Iterable[CalendarPin]:
    today = moment.today
    rest = panel.rest
    if panel.standing in (Standing.RESTS, Standing.TEST_FIRST) and rest.ready_from and rest.touch:
        text = f"may take its next layer without a test from {words.day_words(rest.ready_from, today)}"
        yield CalendarPin(
            _middle(rest.ready_from, first_on), "ready", f"{text}, touch-dry {_touch(panel, today)}", href
        )
    if panel.due:
        kind = "at_risk" if panel.due.at_risk else "due"
        told = ", ".join(
            part
            for part in (standing_words.due_words(panel.due, today), standing_words.due_risk_words(panel, today))
            if part
        )
        yield CalendarPin(_middle(panel.due.on, first_on), kind, told, href)
    yield from _finish_pins(panel, first_on, moment, href)


def _stopped_pins(row: CalendarRow, first_on: date, moment: Moment, href: str) -> Iterable[CalendarPin]:
    """Sittings of the plan in use that a rule stops for good: there is no film to draw."""
    for layer in row.layers:
        if not layer.goes_on:
            told = layer_words(layer, moment)
            yield CalendarPin(_middle(layer.start_days.low, first_on), "stopped", told, f"{href}#layer-{layer.uid}")


def _finish_pins(panel: PanelFact, first_on: date, moment: Moment, href: str) -> Iterable[CalendarPin]:
    """What is planned and done of the finish, and from when the picture may be tested for its varnish."""
    closing = panel.closing
    if closing is None:
        return
    finish = f"{href}/finish"
    for step in closing.planned:
        if step.planned_on is not None:
            text = f"{action_words.action_name(step.action)}, planned {words.day_words(step.planned_on, moment.today)}"
            yield CalendarPin(_middle(step.planned_on, first_on), "planned", text, finish)
    for step in closing.done:
        if step.done_at is not None:
            day = step.done_at.astimezone(moment.zone).date()
            text = f"{action_words.ACTIONS[step.action].done}, {words.day_words(day, moment.today)}"
            yield CalendarPin(_middle(day, first_on), "finished", text, finish)
    if closing.swab_from is not None and panel.standing is Standing.FINISHED:
        yield CalendarPin(_middle(closing.swab_from, first_on), "test", _swab_words(closing, moment.today), finish)


def _swab_words(closing: ClosingFact, today: date) -> str:
    """``worth a swab test from 21 March 2027: a final varnish likely in 16 to 33 weeks``."""
    if closing.swab_from is None or closing.varnish is None:
        return ""
    if closing.swab_due:
        return "worth a swab test: the wait for a final varnish is over"
    told = f"worth a swab test from {words.day_words(closing.swab_from, today)}"
    return f"{told}: a final varnish {standing_words.span_words(closing.varnish, today)}"


def _touch(panel: PanelFact, today: date) -> str:
    return standing_words.span_words(panel.rest.touch, today) if panel.rest.touch else ""


def _middle(on: date, first_on: date) -> float:
    return (on - first_on).days + 0.5


def entries(
    rows: Iterable[CalendarRow], moment: Moment, first_on: date, last_on: date
) -> list[tuple[date, tuple[Entry, ...]]]:
    """What falls on each day of those shown, for the agenda; days without anything are left out."""
    found = [entry for row in rows for entry in _entries(row, moment)]
    wanted = sorted((entry for entry in found if first_on <= entry.on <= last_on), key=_place)
    days: dict[date, list[Entry]] = {}
    for entry in wanted:
        days.setdefault(entry.on, []).append(entry)
    return [(day, tuple(group)) for day, group in days.items()]


def _place(entry: Entry) -> tuple[date, int, str, str]:
    """Where an entry stands in the list: by day, then by kind, sittings in the order of the day."""
    return entry.on, _RANK[entry.kind], entry.at.isoformat() if entry.at else "", entry.title


_RANK = {
    "at_risk": 0,
    "due": 1,
    "ready": 2,
    "test": 3,
    "stopped": 3,
    "caution": 4,
    "planned": 4,
    "sitting": 5,
    "finished": 6,
}


def _entries(row: CalendarRow, moment: Moment) -> Iterable[Entry]:
    panel, today = row.panel, moment.today
    href, rest = f"/panels/{row.panel.uid}", row.panel.rest

    def entry(on: date, kind: str, text: str, at: datetime | None = None) -> Entry:
        return Entry(on, kind, panel.title, href, text, at)

    if panel.due:
        kind = "at_risk" if panel.due.at_risk else "due"
        risk = standing_words.due_risk_words(panel, today)
        what_for = Filled("due for {due_for}", due_for=panel.due.due_for) if panel.due.due_for else "due"
        yield entry(panel.due.on, kind, Filled("{due}: {risk}", due=what_for, risk=risk) if risk else what_for)
    if panel.standing is Standing.READY:
        yield entry(moment.on, "ready", f"ready: {standing_words.rest_words(panel, today)}")
    elif panel.standing is Standing.TEST_FIRST:
        yield entry(moment.on, "test", f"press it first: touch-dry {_touch(panel, today)}")
    elif panel.standing is Standing.RESTS and rest.test_from and rest.ready_from:
        yield entry(rest.test_from, "test", f"worth pressing from here: touch-dry {_touch(panel, today)}")
    if panel.standing in (Standing.RESTS, Standing.TEST_FIRST) and rest.ready_from:
        yield entry(rest.ready_from, "ready", f"ready without a test: touch-dry {_touch(panel, today)}")
    is_stopped = is_stopped_for_good(panel, today)
    if panel.standing is Standing.STOPPED and not is_stopped and rest.allowed_from is not None:
        # For a while only: the plan has its days.
        yield entry(rest.allowed_from, "ready", "no rule stops the next layer any more")
    elif is_stopped:
        yield entry(moment.on, "stopped", f"stopped {standing_words.rest_words(panel, today)}")
    for layer in row.layers:
        if layer.is_planned and is_stopped and layer.goes_on:
            continue
        if not layer.is_planned:
            yield entry(layer.start_days.low, "sitting", layer_words(layer, moment))
        elif layer.sitting is not None:
            text = _sitting_words(layer, layer.sitting, today, is_beneath_day=True)
            yield entry(layer.start_days.central, _planned_kind(layer.sitting), text, layer.start)
        elif not (panel.standing is Standing.READY and layer.start_days.low <= moment.on):
            yield entry(layer.start_days.central, "planned", layer_words(layer, moment))
    yield from _finish_entries(panel, moment)


def _planned_kind(sitting: PlannedSitting) -> str:
    if sitting.broken is None:
        return "planned"
    return "stopped" if sitting.broken.why == "stopped" else "caution"


def _finish_entries(panel: PanelFact, moment: Moment) -> Iterable[Entry]:
    """The same of the finish: its steps, and the swab that is due or will be."""
    closing, today = panel.closing, moment.today
    if closing is None:
        return
    href = f"/panels/{panel.uid}/finish"
    for step in closing.steps:
        named = action_words.ACTIONS[step.action]
        if step.done_at is not None:
            yield Entry(step.done_at.astimezone(moment.zone).date(), "finished", panel.title, href, named.done.lower())
        elif step.planned_on is not None:
            yield Entry(step.planned_on, "planned", panel.title, href, f"{named.name.lower()}, as planned")
    if panel.standing is not Standing.FINISHED or closing.varnish is None:
        return
    if closing.swab_from is not None:
        yield Entry(max(closing.swab_from, moment.on), "test", panel.title, href, _swab_words(closing, today))
    elif closing.swabbed:
        yield Entry(moment.on, "ready", panel.title, href, "the swab stayed clean: ready for its final varnish")


def further_on(rows: Iterable[CalendarRow], moment: Moment, last_on: date) -> list[tuple[str, Entry]]:
    """What the finish of the panels has in store in the two years after the last day shown, each with its day."""
    until = months_later(last_on, FURTHER_MONTHS)
    found = [entry for row in rows for entry in _finish_entries(row.panel, moment) if last_on < entry.on < until]
    return [(words.full_date(entry.on), entry) for entry in sorted(found, key=lambda entry: (entry.on, entry.title))]


def first_of_month(on: date) -> date:
    return on.replace(day=1)


def months_later(on: date, months: int) -> date:
    """The first of the month so many months on."""
    number = on.year * 12 + on.month - 1 + months
    return date(number // 12, number % 12 + 1, 1)


def week_of(on: date) -> date:
    """The first day of its week, as the studio begins weeks."""
    return on - timedelta(days=(on.weekday() - first_weekday()) % 7)
