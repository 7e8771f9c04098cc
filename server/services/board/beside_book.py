"""One layer by the book and by what the studio's touch tests taught, side by side.

Both come from what every board is made of: once with what was learned, once with nothing learned. So the book's dates
here are those that every page shows while the studio has chosen the book's.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from json import loads
from math import log
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Row
from sqlmodel import Session

from server.science.climate import reference_clock
from server.science.learning import drift
from server.science.learning.posterior import LITTLE
from server.science.recipe import LayerRecipe, Room
from server.science.results import FilmState, LayerEstimate, Stage, StageRange
from server.services import learning_choice, learning_data
from server.services.access import Actor
from server.services.board.calendar import planned_layers
from server.services.board.facts import DaySpan, Moment
from server.services.board.films import LayerOn, frozen_recipe, panel_layers, stage_days, where_of
from server.services.board.plan_odds import planned_standings
from server.services.board.rows import StudioRows, load
from server.services.board.today import moment_of
from server.services.climates import room_in
from server.services.errors import NotFound
from server.services.forecasts import FORECASTS, stages_from_json
from server.services.learning import BOOK, StudioLearning
from server.services.learning_effects import Where
from server.services.learning_moves import book_evidence
from server.services.on_panel import LayerOnPanel, of_layer

Stages = Mapping[Stage, StageRange]


@dataclass(frozen=True, slots=True)
class Told:
    """When a layer reaches its stages: days after its start, and the same as dates in the studio's zone."""

    stages: Stages
    days: Mapping[Stage, DaySpan]


@dataclass(frozen=True, slots=True)
class Shift:
    """Why dry-to-touch is moved, as logarithms of effective days; positive is slower.

    ``effects``: what is learned of each, by its weight in this layer, the heaviest first; ``hardly``: effects of which
    hardly anything is learned, together; ``change``: the slow change of the studio; ``own``: the rest, which is this
    layer's own tests and what corrects new dates. ``whole`` is all of them.
    """

    whole: float
    effects: tuple[tuple[str, float], ...] = ()
    hardly: float = 0.0
    change: float = 0.0
    own: float = 0.0


@dataclass(frozen=True)
class BesideBook:
    """One layer by the book and by the studio's learning.

    ``start``: when it was painted, or the central moment it may go on. ``then``: the book's dates and the studio's as
    they were kept when it was painted; None for a planned layer. ``presses``: days after ``start``, and what was felt.
    ``shift`` is None where no date can be given or nothing is learned. ``chosen``: which dates the studio shows.
    """

    here: LayerOnPanel
    start: datetime
    is_painted: bool
    book: Told
    yours: Told
    then: tuple[Told, Told] | None
    presses: tuple[tuple[float, FilmState], ...]
    shift: Shift | None
    learning: StudioLearning = field(repr=False)
    chosen: str
    names: Mapping[str, str]


@dataclass(frozen=True)
class _Found:
    """The layer in one of the two ways. ``asked`` is its recipe in its room."""

    start: datetime
    told: Told
    estimate: LayerEstimate | None
    asked: tuple[LayerRecipe, Room] | None
    where: Where
    row: Row[Any]
    tests: tuple[tuple[float, FilmState], ...] = ()


def beside_book(session: Session, actor: Actor, uid: str, now: datetime, zone: ZoneInfo) -> BesideBook:
    """The layer both ways. Raises ``NotFound``, for a layer that is put away as well."""
    here = of_layer(session, actor, uid)
    moment = moment_of(now, zone)
    rows = load(session, actor, here.panel.uid, with_promises=True)
    if rows is None:
        raise NotFound
    chosen = learning_choice.get(session, actor).mode
    learning = rows.learning
    if chosen == "off":
        learning = learning_data.read(session, actor.studio_id, rows.where, whatever_chosen=True)
    yours = _found(replace(rows, learning=learning), uid, moment)
    # A planned layer is laid on the same day both ways, so that the days can be held against one another.
    book = _found(replace(rows, learning=BOOK), uid, moment, None if yours is None else yours.start)
    if yours is None or book is None:
        raise NotFound
    return BesideBook(
        here=here,
        start=yours.start,
        is_painted=yours.row.painted_at is not None,
        book=book.told,
        yours=yours.told,
        then=_then(yours.row, zone),
        presses=yours.tests,
        shift=_shift(learning, book, yours),
        learning=learning,
        chosen=chosen,
        names=learning_data.names_of_effects(session, actor.studio_id, rows.where),
    )


def _found(rows: StudioRows, uid: str, moment: Moment, laid_at: datetime | None = None) -> _Found | None:
    [layers] = panel_layers(rows, moment)
    for on in layers.on:
        if on.row.uid == uid:
            return _on(on, where_of(rows, layers.panel, on.row), moment.zone)
    to_come = next((layer for layer in layers.to_come if layer.row.uid == uid), None)
    if to_come is None:
        return None
    start = laid_at
    if start is None:
        [shown] = planned_layers(planned_standings(rows, [layers], moment), rows, moment)
        start = next((layer.start for layer in shown if layer.uid == uid), moment.at)
    question = to_come.question(start.astimezone(moment.zone).date(), moment.zone)
    estimate = None if question is None else FORECASTS.one(question)
    found = estimate if isinstance(estimate, LayerEstimate) else None
    stages = {} if found is None else found.stages
    told = Told(stages, stage_days(start, stages, moment.zone))
    return _Found(
        start, told, found, question.make() if found and question else None, where_of(rows, layers.panel), to_come.row
    )


def _on(layer: LayerOn, where: Where, zone: ZoneInfo) -> _Found:
    row, film = layer.row, layer.film
    asked = None
    if film.estimate is not None:
        asked = frozen_recipe(row.recipe_text), room_in(where.climate, row.painted_at, zone)
    ages = [(test.pressed_at - row.painted_at) / timedelta(days=1) for test in layer.tests]
    tests = tuple((age, FilmState(test.stage)) for age, test in zip(ages, layer.tests, strict=True))
    return _Found(row.painted_at, Told(film.stages, film.days), film.estimate, asked, where, row, tests)


def _then(row: Row[Any], zone: ZoneInfo) -> tuple[Told, Told] | None:
    """What the book and the studio's learning said when the layer was painted."""
    frozen = None if row.painted_at is None or row.forecast_text is None else loads(row.forecast_text)
    if not frozen or "book" not in frozen:
        return None
    book, yours = (stages_from_json(frozen[name]) for name in ("book", "stages"))
    return (
        Told(book, stage_days(row.painted_at, book, zone)),
        Told(yours, stage_days(row.painted_at, yours, zone)),
    )


def _shift(studio: StudioLearning, book: _Found, yours: _Found) -> Shift | None:
    """Why the two differ, for the mix that the layer waits for."""
    if studio.learned is None or book.estimate is None or yours.estimate is None or book.asked is None:
        return None
    held = next((i for i, region in enumerate(yours.estimate.regions) if region.holds_up), 0)
    recipe, room = book.asked
    clock = reference_clock(room)
    evidence = studio.now(book_evidence(book.estimate, recipe, clock, book.where)[held])
    middles = [found.regions[held].stages[Stage.DRY_TO_TOUCH].p50_d for found in (book.estimate, yours.estimate)]
    before, after = (float(clock.progress_at(middle)) for middle in middles)
    known = {effect.name: effect for effect in studio.learned.effects()}
    moved = {name: weight * known[name].mean for name, weight in evidence.effects if name in known}
    change = sum(by for name, by in moved.items() if name.startswith(drift.KIND))
    told = {name: by for name, by in moved.items() if not name.startswith(drift.KIND)}
    hardly = sum(by for name, by in told.items() if known[name].learned < LITTLE)
    effects = sorted(
        ((name, by) for name, by in told.items() if known[name].learned >= LITTLE), key=lambda each: -abs(each[1])
    )
    whole = log(after / before)
    return Shift(whole, tuple(effects), hardly, change, whole - sum(moved.values()))
