"""The calendar: one row a panel, a film's sheen dulling from wet to firm.

Uncertainty is drawn, not hinted at. Across a film's bar the border between two states climbs from bottom to top as
the odds climb: on any day, the share of the bar's height taken by the drier state is the chance that the film is
there already. A well-known film has steep borders, a doubtful one long slopes.

Days are counted from the calendar's first day and may have fractions; ``day_offset`` makes them from instants.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone, tzinfo

from server.formats.drawings import Point, number, polygon

ROW_HEIGHT = 44.0
BAR_TOP, BAR_BOTTOM = 15.0, 35.0
STROKE_TOP, STROKE_BOTTOM = 7.0, 40.0
HEAD_HEIGHT = 40.0
WEEKS_FROM = 5.0  # units a day: below that a year is shown, in which weeks are only noise
FILM_KINDS = ("tacky", "touch_dry", "firm")


@dataclass(frozen=True, slots=True)
class Spread:
    """When something is reached: five percentiles in days from the calendar's first day."""

    p05: float
    p10: float
    p50: float
    p90: float
    p95: float


@dataclass(frozen=True, slots=True)
class CalendarFilm:
    """One layer. ``start``: when it is (to be) painted. ``until``: when the next layer covers it, None while it is on
    top. ``set_to_touch``, ``dry_to_touch``, ``dry_through``: when it turns tacky, touch-dry, firm."""

    label: str
    start: float
    set_to_touch: Spread
    dry_to_touch: Spread
    dry_through: Spread
    until: float | None = None
    is_planned: bool = False
    colour: str = "#6d6a5c"
    words: str = ""
    href: str = ""


@dataclass(frozen=True, slots=True)
class CalendarPin:
    """A mark on one day. ``kind``: due, at_risk, ready, test."""

    at: float
    kind: str
    words: str
    href: str = ""


@dataclass(frozen=True, slots=True)
class CalendarRow:
    """A panel through time. ``films`` in order, lowest first; ``words`` reads the whole row out."""

    title: str
    href: str
    films: tuple[CalendarFilm, ...]
    pins: tuple[CalendarPin, ...] = ()
    state: str = "bare"
    words: str = ""


@dataclass(frozen=True, slots=True)
class CalendarSpan:
    """What is shown: ``days`` days from ``first_on``, each ``day_width`` units wide, and where today is."""

    first_on: date
    days: int
    day_width: float
    today_at: float | None = None
    first_weekday: int = 0  # Monday; a line is drawn before it


@dataclass(frozen=True, slots=True)
class FilmArea:
    """A state within a film's bar."""

    kind: str
    path: str
    is_planned: bool


@dataclass(frozen=True, slots=True)
class Sitting:
    """A brush stroke: a layer painted, or to be painted."""

    x: float
    path: str
    colour: str
    is_planned: bool
    words: str
    href: str


@dataclass(frozen=True, slots=True)
class PinDrawing:
    x: float
    kind: str
    words: str
    href: str


@dataclass(frozen=True, slots=True)
class RowDrawing:
    title: str
    href: str
    state: str
    words: str
    areas: tuple[FilmArea, ...]
    outlines: tuple[str, ...]
    gloss: tuple[str, ...]
    broken_gloss: tuple[str, ...]
    sittings: tuple[Sitting, ...]
    pins: tuple[PinDrawing, ...]


@dataclass(frozen=True, slots=True)
class Tick:
    """A label in the head: ``x`` is where its day begins, ``width`` how much room it has."""

    x: float
    width: float
    words: str
    is_today: bool = False


@dataclass(frozen=True, slots=True)
class CalendarDrawing:
    """``months`` and ``ticks`` make the head; ``grid`` (weeks) and ``months_path`` lie behind every row."""

    width: float
    row_height: float
    head_height: float
    day_width: float
    months: tuple[Tick, ...]
    ticks: tuple[Tick, ...]
    grid: str
    month_lines: str
    rest_days: str
    today_x: float | None
    rows: tuple[RowDrawing, ...]


def day_offset(instant: datetime, first_on: date, zone: tzinfo = timezone.utc) -> float:
    """Days from the start of ``first_on`` in ``zone`` to an aware ``instant``; a day of clock change is one."""
    local = instant.astimezone(zone)
    seconds = local.hour * 3600 + local.minute * 60 + local.second
    return (local.date() - first_on).days + seconds / 86400


def draw_calendar(rows: Sequence[CalendarRow], span: CalendarSpan) -> CalendarDrawing:
    """Lay out every row; whatever lies outside the span is cut off at its edge."""
    width = span.days * span.day_width
    has_weeks = span.day_width >= WEEKS_FROM
    week_starts = [
        d for d in range(span.days) if has_weeks and (span.first_on + timedelta(d)).weekday() == span.first_weekday
    ]
    firsts = [d for d in range(span.days) if (span.first_on + timedelta(d)).day == 1]
    saturdays = [d for d in range(-1, span.days) if has_weeks and (span.first_on + timedelta(d)).weekday() == 5]
    shown = span.today_at if span.today_at is not None and 0 <= span.today_at <= span.days else None
    return CalendarDrawing(
        width=width,
        row_height=ROW_HEIGHT,
        head_height=HEAD_HEIGHT,
        day_width=span.day_width,
        months=_months(span, firsts),
        ticks=_ticks(span, week_starts),
        grid=_verticals(week_starts, span.day_width),
        month_lines=_verticals(firsts, span.day_width),
        rest_days=_boxes(saturdays, span),
        today_x=None if shown is None else round(shown * span.day_width, 1),
        rows=tuple(_row(row, span) for row in rows),
    )


def _verticals(days: Sequence[int], day_width: float) -> str:
    return "".join(f"M{number(d * day_width)} 0V{number(ROW_HEIGHT)}" for d in days)


def _boxes(saturdays: Sequence[int], span: CalendarSpan) -> str:
    boxes = []
    for day in saturdays:
        x0, x1 = max(0, day) * span.day_width, min(span.days, day + 2) * span.day_width
        if x1 > x0:
            boxes.append(f"M{number(x0)} 0H{number(x1)}V{number(ROW_HEIGHT)}H{number(x0)}Z")
    return "".join(boxes)


def _months(span: CalendarSpan, firsts: Sequence[int]) -> tuple[Tick, ...]:
    starts = sorted({0, *firsts})
    ends = [*starts[1:], span.days]
    ticks = []
    for start, end in zip(starts, ends, strict=True):
        day = span.first_on + timedelta(start)
        room = (end - start) * span.day_width
        words = f"{day:%B}" + (f" {day.year}" if room > 110 and (start == 0 or day.month == 1) else "")
        if room >= 84:
            ticks.append(Tick(start * span.day_width, room, words))
        elif room >= 40:
            ticks.append(Tick(start * span.day_width, room, f"{day:%b}"))
    return tuple(ticks)


def _ticks(span: CalendarSpan, week_starts: Sequence[int]) -> tuple[Tick, ...]:
    """Every day where there is room for a number, else every first day of a week."""
    today = None if span.today_at is None else int(span.today_at // 1)
    by_day = span.day_width >= 22
    room = span.day_width if by_day else 7 * span.day_width
    ticks = []
    for offset in range(span.days) if by_day else week_starts:
        day = span.first_on + timedelta(offset)
        words = f"{day:%a} {day.day}" if span.day_width >= 48 else str(day.day)
        ticks.append(Tick(offset * span.day_width, room, words, offset == today))
    return tuple(ticks)


def _row(row: CalendarRow, span: CalendarSpan) -> RowDrawing:
    areas: list[FilmArea] = []
    outlines: list[str] = []
    gloss: list[str] = []
    broken: list[str] = []
    for film in row.films:
        start = max(0.0, film.start)
        end = min(float(span.days), span.days if film.until is None else film.until)
        if end <= start:
            continue
        areas.extend(_film(film, start, end, span.day_width))
        outlines.append(_box(start, end, span.day_width))
        if not film.is_planned:
            gloss.append(_light(start, min(end, film.set_to_touch.p10), span.day_width))
            broken.append(_light(max(start, film.set_to_touch.p10), min(end, film.dry_to_touch.p10), span.day_width))
    return RowDrawing(
        title=row.title,
        href=row.href,
        state=row.state,
        words=_row_words(row, span),
        areas=tuple(areas),
        outlines=tuple(outlines),
        gloss=tuple(path for path in gloss if path),
        broken_gloss=tuple(path for path in broken if path),
        sittings=tuple(_sitting(f, i, span) for i, f in enumerate(row.films) if 0 <= f.start <= span.days),
        pins=tuple(
            PinDrawing(_kept_in(pin.at, span), pin.kind, pin.words, pin.href)
            for pin in row.pins
            if 0 <= pin.at <= span.days
        ),
    )


def _row_words(row: CalendarRow, span: CalendarSpan) -> str:
    """What the row says, with the films whose sitting is not drawn: the marks drawn each say their own."""
    unmarked = [f.words for f in row.films if f.words and f.start < 0 and (f.until is None or f.until > 0)]
    return f"{'; '.join([row.words, *unmarked])}." if row.words else describe(row)


def describe(row: CalendarRow) -> str:
    """The row in words when its maker gave none."""
    said = [film.words or film.label for film in row.films] + [pin.words for pin in row.pins]
    return f"{row.title}: {'; '.join(said)}." if said else f"{row.title}: nothing painted or planned."


def _kept_in(at: float, span: CalendarSpan) -> float:
    """The middle of a mark, so that all of it (16 units wide) is within the drawing."""
    return round(min(max(at * span.day_width, 8.0), span.days * span.day_width - 8.0), 1)


def _film(film: CalendarFilm, start: float, end: float, day_width: float) -> list[FilmArea]:
    """Wet all along, then each drier state laid over it under its climbing border."""
    areas = [FilmArea("wet", _box(start, end, day_width), film.is_planned)]
    for kind, reached in zip(FILM_KINDS, (film.set_to_touch, film.dry_to_touch, film.dry_through), strict=True):
        border = clip_border(odds_border(reached), start, end)
        if border:
            points = [
                (round(x * day_width, 1), round(BAR_BOTTOM - odds * (BAR_BOTTOM - BAR_TOP), 1)) for x, odds in border
            ]
            corners = [(round(end * day_width, 1), BAR_BOTTOM), (points[0][0], BAR_BOTTOM)]
            areas.append(FilmArea(kind, polygon([*points, *corners]), film.is_planned))
    return areas


def odds_border(reached: Spread) -> list[Point]:
    """(day, odds) along the border, through the five percentiles; nothing is drawn of the outer five in a hundred."""
    pairs = ((reached.p05, 0.05), (reached.p10, 0.1), (reached.p50, 0.5), (reached.p90, 0.9), (reached.p95, 0.95))
    return [(reached.p05, 0.0), *pairs, (reached.p95, 1.0)]


def clip_border(border: Sequence[Point], start: float, end: float) -> list[Point]:
    """The border between two days, continued level to ``end``; empty when it begins after ``end``."""
    if border[0][0] >= end:
        return []
    inside = [(x, odds) for x, odds in border if start <= x <= end]
    if border[0][0] < start:
        inside.insert(0, (start, _odds_at(border, start)))
    if border[-1][0] > end:
        inside.append((end, _odds_at(border, end)))
    else:
        inside.append((end, 1.0))
    return inside


def _odds_at(border: Sequence[Point], day: float) -> float:
    for (x0, low), (x1, high) in itertools.pairwise(border):
        if x0 <= day <= x1:
            return high if x1 == x0 else low + (high - low) * (day - x0) / (x1 - x0)
    return 0.0 if day < border[0][0] else 1.0


def _box(start: float, end: float, day_width: float) -> str:
    x0, x1 = number(round(start * day_width, 1)), number(round(end * day_width, 1))
    return f"M{x0} {number(BAR_TOP)}H{x1}V{number(BAR_BOTTOM)}H{x0}Z"


def _light(start: float, end: float, day_width: float) -> str:
    """The streak of light along a shining film's upper edge, when there is length for one."""
    x0, x1 = start * day_width + 4, end * day_width - 3
    return f"M{number(x0)} {number(BAR_TOP + 4)}H{number(x1)}" if x1 - x0 >= 3 else ""


def _sitting(film: CalendarFilm, index: int, span: CalendarSpan) -> Sitting:
    """A flat brush's stroke, 7 units wide and a little aslant, no two alike."""
    x = _kept_in(film.start, span)
    lean = (0.8, -0.6, 0.3, -0.9)[index % 4]
    points = [
        (x - 3.6 + lean, STROKE_TOP + 1.5),
        (x + lean, STROKE_TOP),
        (x + 3.4 + lean, STROKE_TOP + 1),
        (x + 3.8 - lean, STROKE_BOTTOM - 2),
        (x - lean, STROKE_BOTTOM),
        (x - 3.2 - lean, STROKE_BOTTOM - 1.2),
    ]
    return Sitting(x, polygon(points), film.colour, film.is_planned, film.words or film.label, film.href)
