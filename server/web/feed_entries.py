"""A panel's row of the calendar as entries that other programs show, in the words of Today.

What is read elsewhere is read on another day: so every text names its days in full, as if told from the end of time.
"""

import uuid
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, timezone

from server.formats.ical import Entry
from server.science.results import FilmState
from server.services.board.calendar_facts import CalendarLayer, CalendarRow
from server.services.board.facts import Moment, PanelFact, Standing, StepFact
from server.services.give_way import give_way
from server.services.kept import Kept
from server.web import action_words, plan_words, standing_words
from server.web.calendar_rows import is_stopped_for_good, layer_words
from server.web.manner import manner

# Names of ours as UUIDs of version 5 (RFC 9562), which RFC 7986 wants uids to be; the same record is the same for ever.
NAMES = uuid.UUID("8f0a3f5e-4b0b-4c55-9c0e-7d0f6a1c2e9b")
PRESS = timedelta(minutes=15)
PAST_D = 92
DAY = timedelta(days=1)
When = tuple[date, date | None]
FOUND_DRY = (FilmState.TOUCH_DRY, FilmState.FIRM)


@dataclass(frozen=True, slots=True)
class View:
    """How rows may be seen by somebody: ``seen`` says how one of them looks; views of the same ``key`` are the same."""

    key: Hashable
    seen: Callable[[CalendarRow], CalendarRow]


ENTRIES_KEPT = 12_000  # panels with the entries of each, some three kilobytes
ENTRIES: Kept[tuple[Entry, ...]] = Kept(ENTRIES_KEPT)


@dataclass(frozen=True, slots=True)
class _Row:
    """A row as it is, for its days and uids, and as it may be seen, for its words."""

    real: CalendarRow
    seen: CalendarRow
    moment: Moment

    @property
    def panel(self) -> PanelFact:
        return self.real.panel

    @property
    def dated(self) -> Moment:
        return replace(self.moment, today=date.max)

    def event(self, name: str, what: tuple[str, str], when: When, **more: object) -> Entry:
        """An event of the record that ``name`` names; ``what`` is what follows the title, with and without detail."""
        return self._entry("event", name, what, when, more)

    def task(self, name: str, what: tuple[str, str], when: When, **more: object) -> Entry:
        return self._entry("task", name, what, when, more)

    def _entry(self, kind: str, name: str, what: tuple[str, str], when: When, more: dict[str, object]) -> Entry:
        title = self.panel.title
        values: dict[str, object] = {
            "kind": kind,
            "uid": uid_of(name),
            "panel_uid": self.panel.uid,
            "summary": f"{title}: {what[0]}",
            "plain": f"{title}: {what[1]}",
            "start": when[0],
            "end": when[1],
        }
        return Entry(**{**values, **more})  # type: ignore[arg-type]


def uid_of(name: str) -> str:
    """The uid of an entry, from what it is and the uid of its record, of which it tells nothing."""
    return str(uuid.uuid5(NAMES, name))


def entries_of(rows: Sequence[CalendarRow], moment: Moment, view: View | None = None) -> list[Entry]:
    """Events and tasks of all rows, told once for the same facts; ``view``: as somebody may see them."""
    key = (None if view is None else view.key, manner())
    kept = ENTRIES.among((row.panel.number, key) for row in rows)
    made: dict[Hashable, tuple[Entry, ...]] = {
        (row.panel.number, key): tuple(_entries(_Row(row, row if view is None else view.seen(row), moment)))
        for row in rows
        if (row.panel.number, key) not in kept
    }
    ENTRIES.keep(made)
    kept |= made
    return [entry for row in rows for entry in kept[row.panel.number, key]]


def _entries(row: _Row) -> Iterable[Entry]:
    give_way()
    yield from _layers(row)
    yield from _top(row)
    yield from _due(row)
    yield from _finish(row)
    yield from _painting(row)


def concerns(row: CalendarRow, painter: str) -> bool:
    """Whether a panel concerns a painter: the plan gives them a sitting of it, or gives nobody one."""
    planned = {layer.sitting.painter for layer in row.layers if layer.sitting is not None}
    return painter in planned or not planned


def work_of_others(rows: Sequence[CalendarRow], painter: str) -> frozenset[str]:
    """The uids of entries that are somebody else's to do: sittings that the plan gives another painter."""
    layers = [layer for row in rows for layer in row.layers if layer.sitting is not None]
    theirs = [layer.uid for layer in layers if layer.sitting and layer.sitting.painter != painter]
    return frozenset(uid_of(f"{name}:{uid}") for uid in theirs for name in ("sitting", "task-paint"))


def _days(low: date, high: date) -> tuple[date, date]:
    """Days from ``low`` to ``high``, both counted: the end of a calendar's entry is the day after (RFC 5545, 3.6.1)."""
    return low, high + DAY


def _layers(row: _Row) -> Iterable[Entry]:
    """Sittings of the plan in use, what was painted, and when further layers may go on."""
    is_stopped = is_stopped_for_good(row.panel, row.moment.today)
    is_first = True
    for layer, seen in zip(row.real.layers, row.seen.layers, strict=True):
        name, told = f"sitting:{layer.uid}", layer_words(seen, row.dated)
        if not layer.is_planned:
            on = layer.start_days.low
            if (row.moment.on - on).days <= PAST_D:
                what = f"{layer.kind} painted"
                yield row.event(name, (what, what), _days(on, on), status="CONFIRMED", description=told)
            continue
        if layer.sitting is not None:
            yield _sitting(row, layer, seen, told)
        elif not is_first and not is_stopped:
            span, what = layer.start_days, f"{layer.kind} may go on"
            yield row.event(
                f"start:{layer.uid}", (what, what), _days(span.low, span.high), status="TENTATIVE", description=told
            )
        is_first = False


def _sitting(row: _Row, layer: CalendarLayer, seen: CalendarLayer, told: str) -> Entry:
    sitting, shown = layer.sitting, seen.sitting
    assert sitting is not None and shown is not None
    holds = layer.start == sitting.start_at and sitting.broken is None
    palette = plan_words.palette_words(shown)
    who = f", with {shown.painter}" if shown.painter else ""
    what = layer.kind if holds else f"{layer.kind} was planned"
    return row.event(
        f"sitting:{layer.uid}",
        (f"{what}{who}", what),
        (_utc(sitting.start_at), _utc(sitting.end_at)),
        status="CONFIRMED" if holds else "TENTATIVE" if layer.goes_on else "CANCELLED",
        is_busy=layer.goes_on,
        description="\n".join(part for part in (told, palette) if part),
    )


def _top(row: _Row) -> Iterable[Entry]:
    """Of the top layer: when it will be touch-dry, and when a press of it tells most."""
    panel = row.panel
    top, rest = panel.top, panel.rest
    if top is None or rest.touch is None or panel.standing is Standing.FINISHED:
        return
    found = bool(top.tests) and top.tests[-1].state in FOUND_DRY
    span = standing_words.span_words(rest.touch, date.max)
    if (row.moment.on - rest.touch.high).days <= PAST_D:
        yield row.event(
            f"ready:{top.uid}",
            (f"{top.kind} touch-dry", f"{top.kind} touch-dry"),
            _days(rest.touch.low, rest.touch.high),
            status="CONFIRMED" if found else "TENTATIVE",
            description=f"touch-dry {span}" if found else f"touch-dry {span}. {_sure(panel)}".rstrip(),
        )
    if found:
        at = top.tests[-1].pressed_at
        yield _press(row, (_utc(at), _utc(at) + PRESS), "COMPLETED", at)
    elif rest.press is not None:
        at = _even(rest.press.at)
        words = standing_words.press_words(replace(rest.press, is_now=False), date.max, row.moment.zone)
        yield row.event(
            f"press:{top.uid}",
            (f"press the {top.kind}", f"press the {top.kind}"),
            (_utc(at), _utc(at) + PRESS),
            status="TENTATIVE",
            description=f"{words}. Touch-dry {span}",
        )
        yield _press(row, (_utc(at), _utc(at) + PRESS), "NEEDS-ACTION", description=f"{words}. Touch-dry {span}")
    elif panel.standing is Standing.TEST_FIRST and rest.test_from is not None:
        yield _press(row, (rest.test_from, None), "NEEDS-ACTION", description=f"touch-dry {span}")


def _sure(panel: PanelFact) -> str:
    """By which day it is touch-dry without a press, as Today says it."""
    ready_from = panel.rest.ready_from
    if ready_from is None:
        return ""
    day = standing_words.far_day_words(ready_from, date.max)
    return f"Without a test, paint over it from {day}: touch-dry by then 9 times in 10"


def _press(row: _Row, when: When, status: str, completed_at: datetime | None = None, description: str = "") -> Entry:
    top = row.panel.top
    assert top is not None
    what = f"press the {top.kind}"
    return row.task(
        f"task-press:{top.uid}", (what, what), when, status=status, completed_at=completed_at, description=description
    )


def _due(row: _Row) -> Iterable[Entry]:
    due, seen = row.panel.due, row.seen.panel
    if due is None or seen.due is None:
        return
    what_for = f"due for {seen.due.due_for}" if seen.due.due_for else "due"
    told = standing_words.due_risk_words(seen, date.max)
    yield row.event(
        f"due:{row.panel.uid}", (what_for, "due"), _days(due.on, due.on), status="CONFIRMED", description=told
    )


def _finish(row: _Row) -> Iterable[Entry]:
    """Steps of the finish, planned and done; from when a finished picture may be varnished, and its swab."""
    panel, seen = row.panel, row.seen.panel
    closing = panel.closing
    if closing is None or seen.closing is None:
        return
    for step, shown in zip(closing.steps, seen.closing.steps, strict=True):
        yield from _step(row, step, shown.note)
    if closing.varnish is None or panel.standing is not Standing.FINISHED:
        return
    told = standing_words.span_words(closing.varnish, date.max)
    yield row.event(
        f"varnish:{panel.uid}",
        ("a final varnish may be tested for", "a final varnish may be tested for"),
        _days(closing.varnish.low, closing.varnish.high),
        status="TENTATIVE",
        description=f"a final varnish {told}, after a swab test",
    )
    if closing.swab_from is not None and closing.swab_from > row.moment.on:
        yield row.event(
            f"swab:{panel.uid}",
            ("worth a swab test", "worth a swab test"),
            _days(closing.swab_from, closing.swab_from),
            status="TENTATIVE",
            description=f"worth a swab test from here: a final varnish {told}",
        )


def _step(row: _Row, step: StepFact, note: str) -> Iterable[Entry]:
    named = action_words.ACTIONS[step.action]
    name = f"step:{step.uid}"
    if step.done_at is not None:
        on = step.done_at.astimezone(row.moment.zone).date()
        done = named.done.lower()
        yield row.event(name, (done, done), _days(on, on), status="CONFIRMED", description=note)
    elif step.planned_on is not None:
        what = named.name.lower()
        yield row.event(
            name, (what, what), _days(step.planned_on, step.planned_on), status="TENTATIVE", description=note
        )


def _painting(row: _Row) -> Iterable[Entry]:
    """Layers to paint, as tasks: the next one, and those that were painted of late."""
    panel, moment = row.panel, row.moment
    for layer in row.real.layers:
        if not layer.is_planned and (moment.on - layer.start_days.low).days <= PAST_D:
            what = f"paint the {layer.kind}"
            on = layer.start_days.low
            times = _days(on, on)
            yield row.task(f"task-paint:{layer.uid}", (what, what), times, status="COMPLETED", completed_at=layer.start)
    planned = next((pair for pair in zip(row.real.layers, row.seen.layers, strict=True) if pair[0].is_planned), None)
    if planned is None or is_stopped_for_good(panel, moment.today):
        return
    layer, seen = planned
    span = layer.start_days
    if layer.sitting is not None and layer.start == layer.sitting.start_at and layer.sitting.broken is None:
        when: When = (_utc(layer.sitting.start_at), _utc(layer.sitting.end_at))
    elif panel.standing is Standing.READY and span.low <= moment.on:
        when = (moment.on, None)  # since that day, until it is done
    else:
        when = _days(span.low, span.high)
    what = f"paint the {layer.kind}"
    told = layer_words(seen, row.dated)
    yield row.task(f"task-paint:{layer.uid}", (what, what), when, status="NEEDS-ACTION", description=told)


def _even(instant: datetime) -> datetime:
    """The five minutes it falls into: nobody means the second."""
    return instant.replace(minute=instant.minute // 5 * 5, second=0, microsecond=0)


def _utc(instant: datetime) -> datetime:
    return instant.astimezone(timezone.utc)
