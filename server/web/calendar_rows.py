"""The calendar's facts as its drawing and its lists take them: days from the first day shown, and each mark's words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from server.formats.drawings_calendar import CalendarFilm, CalendarPin, Spread, day_offset
from server.formats.drawings_calendar import CalendarRow as DrawnRow
from server.science.results import Stage, StageRange
from server.services.board.facts import CalendarLayer, CalendarRow, Moment, PanelFact, Standing
from server.web import standing_words, words

NEVER = StageRange(36_500.0, 36_500.0, 36_500.0, 36_500.0, 36_500.0)


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that falls on a day: ``kind`` is a shape's name. Where it may fall on several days, ``words`` tell them
    and ``on`` is the central or the first one."""

    on: date
    kind: str
    title: str
    href: str
    words: str


def drawn_rows(rows: Iterable[CalendarRow], first_on: date, moment: Moment) -> list[DrawnRow]:
    """Every panel as a row of the drawing that begins on ``first_on``."""
    return [_row(row, first_on, moment) for row in rows]


def _row(row: CalendarRow, first_on: date, moment: Moment) -> DrawnRow:
    panel = row.panel
    href = f"/panels/{panel.uid}"
    films = tuple(_films(row.layers, first_on, moment, href))
    pins = tuple(_pins(panel, first_on, moment, href))
    said = [row_words(panel, moment.today), *(film.words for film in films), *(pin.words for pin in pins)]
    return DrawnRow(
        title=panel.title,
        href=href,
        films=films,
        pins=pins,
        state=panel.top.state.value if panel.top else "bare",
        words=f"{panel.title}: {'; '.join(said)}.",
    )


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


def _touch(panel: PanelFact, today: date) -> str:
    return standing_words.span_words(panel.rest.touch, today) if panel.rest.touch else ""


def _middle(on: date, first_on: date) -> float:
    return (on - first_on).days + 0.5


def entries(
    rows: Iterable[CalendarRow], moment: Moment, first_on: date, last_on: date
) -> list[tuple[date, tuple[Entry, ...]]]:
    """What falls on each day of those shown, for the agenda; days without anything are left out."""
    found = [entry for row in rows for entry in _entries(row, moment)]
    wanted = sorted((e for e in found if first_on <= e.on <= last_on), key=lambda e: (e.on, _RANK[e.kind], e.title))
    days: dict[date, list[Entry]] = {}
    for entry in wanted:
        days.setdefault(entry.on, []).append(entry)
    return [(day, tuple(group)) for day, group in days.items()]


_RANK = {"at_risk": 0, "due": 1, "ready": 2, "test": 3, "stopped": 3, "planned": 4, "sitting": 5, "finished": 6}


def _entries(row: CalendarRow, moment: Moment) -> Iterable[Entry]:
    panel, today = row.panel, moment.today
    href, rest = f"/panels/{row.panel.uid}", row.panel.rest

    def entry(on: date, kind: str, text: str) -> Entry:
        return Entry(on, kind, panel.title, href, text)

    if panel.due:
        kind = "at_risk" if panel.due.at_risk else "due"
        risk = standing_words.due_risk_words(panel, today)
        what_for = f"due for {panel.due.due_for}" if panel.due.due_for else "due"
        yield entry(panel.due.on, kind, f"{what_for}: {risk}" if risk else what_for)
    if panel.standing is Standing.READY:
        yield entry(moment.on, "ready", f"ready: {standing_words.rest_words(panel, today)}")
    elif panel.standing is Standing.TEST_FIRST:
        yield entry(moment.on, "test", f"press it first: touch-dry {_touch(panel, today)}")
    elif panel.standing is Standing.RESTS and rest.test_from and rest.ready_from:
        yield entry(rest.test_from, "test", f"worth pressing from here: touch-dry {_touch(panel, today)}")
    if panel.standing in (Standing.RESTS, Standing.TEST_FIRST) and rest.ready_from:
        yield entry(rest.ready_from, "ready", f"ready without a test: touch-dry {_touch(panel, today)}")
    is_stopped = panel.standing is Standing.STOPPED
    if is_stopped and rest.allowed_from and rest.allowed_from > today:
        is_stopped = False  # for a while only: the plan has its days
        yield entry(rest.allowed_from, "ready", "no rule stops the next layer any more")
    elif is_stopped:
        yield entry(moment.on, "stopped", f"stopped {standing_words.rest_words(panel, today)}")
    for layer in row.layers:
        if layer.is_planned and is_stopped:
            continue
        if not layer.is_planned:
            yield entry(layer.start_days.low, "sitting", layer_words(layer, moment))
        elif not (panel.standing is Standing.READY and layer.start_days.low <= moment.on):
            yield entry(layer.start_days.central, "planned", layer_words(layer, moment))
    if panel.varnish:
        text = f"a final varnish {standing_words.span_words(panel.varnish, today)}, after a swab test"
        yield entry(panel.varnish.low, "finished", text)


def first_of_month(on: date) -> date:
    return on.replace(day=1)


def months_later(on: date, months: int) -> date:
    """The first of the month so many months on."""
    number = on.year * 12 + on.month - 1 + months
    return date(number // 12, number % 12 + 1, 1)


def monday_of(on: date) -> date:
    return on - timedelta(days=on.weekday())
