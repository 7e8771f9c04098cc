"""Find me a mix that is sound on this panel by a day: the search, asked with what is on the painter's own shelf."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial

from server.science import search
from server.science.errors import InputError
from server.science.recipe import AdditionKind, LayerRecipe, Room
from server.science.reference import find_pigment
from server.science.results import LayerEstimate, Stage
from server.science.search import Ingredient, Palette, Shelf, Task, Want
from server.science.soundness.pigments import QUICK_CLASSES
from server.science.soundness.types import Finding, Verdict
from server.services.board.facts import DaySpan, Moment
from server.services.board.spans import day_span, instant, local_day
from server.services.mixing_palette import Bench, Line, Stuff, lines
from server.services.mixing_ways import Tried, any_oil_on_shelf, oil_on_shelf

MOST_QUICK, MOST_MEDIUMS = 3, 4
SECONDS_PER_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class FoundMix:
    """One mix that was found.

    ``on`` is the day from which it may go on (None: none was found within a year), ``touch_on`` when it is touch-dry
    then, ``done_on`` when what was asked for has come about. ``size``: how much has to be changed, in millilitres to
    10 ml of paint. ``stays``: what is more than a note on its day.
    """

    palette: Palette
    lines: tuple[Line, ...]
    wet_um_before: float
    size: float
    on: date | None
    touch_on: DaySpan | None
    done_on: date | None
    verdict: Verdict
    stays: tuple[Finding, ...]

    @property
    def wet_um(self) -> float:
        return self.palette.wet_um

    @property
    def is_thickness(self) -> bool:
        return self.wet_um != self.wet_um_before

    @property
    def is_as_it_is(self) -> bool:
        return self.size == 0.0


@dataclass(frozen=True, slots=True)
class FoundMixes:
    """What the search gave. ``nearest`` where nothing passes by ``by``; ``tried`` is how many mixes were looked at.

    ``sound``: whether what is listed is; else it clears every stop and adds no caution. ``in_all``: cautions (rule and
    title) that every mix that passes by then keeps.
    """

    by: date
    want: Want
    listed: tuple[FoundMix, ...]
    nearest: FoundMix | None
    tried: int
    sound: bool
    in_all: frozenset[tuple[str, str]]


def find(tried: Tried, by: date, want: Want) -> FoundMixes:
    """The smallest changes of the mix on the palette that pass the rules by the end of a day."""
    moment = tried.moment
    end = datetime.combine(by + timedelta(days=1), time(), moment.zone)
    task = Task(
        palette=tried.bench.palette,
        shelf=_shelf(tried.bench),
        situation=tried.situation,
        room=tried.room,
        ground=tried.ground,
        by_d=(end - moment.at).total_seconds() / SECONDS_PER_DAY,
        want=want,
        forecast=partial(_told, tried),
    )
    found = search.find(task, tried.limits)
    return FoundMixes(
        by=by,
        want=want,
        listed=tuple(_shown(answer, tried.bench, moment) for answer in found.listed),
        nearest=_shown(found.nearest, tried.bench, moment) if found.nearest else None,
        tried=found.tried,
        sound=found.sound,
        in_all=found.in_all,
    )


def _told(tried: Tried, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[LayerEstimate]:
    """The forecasts of what is tried. Raises ``InputError`` at a mix that has none."""
    found = []
    for forecast in tried.forecasts(pairs):
        if not isinstance(forecast, LayerEstimate):
            raise InputError("mix", forecast.message)
        found.append(forecast)
    return found


def _shown(answer: search.Answer, bench: Bench, moment: Moment) -> FoundMix:
    palette = answer.candidate.palette
    on_at = None if answer.in_d is None else instant(moment.at, answer.in_d)
    return FoundMix(
        palette=palette,
        lines=lines(palette, bench),
        wet_um_before=bench.palette.wet_um,
        size=answer.candidate.size,
        on=None if on_at is None else local_day(on_at, moment.zone),
        touch_on=None if on_at is None else day_span(on_at, answer.estimate.stages[Stage.DRY_TO_TOUCH], moment.zone),
        done_on=None if on_at is None else local_day(instant(moment.at, answer.done_d), moment.zone),
        verdict=answer.verdict,
        stays=answer.stays,
    )


def _shelf(bench: Bench) -> Shelf:
    """What the search may reach for: what is on the palette, the oil it is bound in, an alkyd medium, a thinner, and
    the quickest colours that are on the shelf, those on the palette first."""
    on_palette = [item for item, _ in bench.palette.parts]
    stuffs = list(bench.known.values())
    mediums = [item for item in on_palette if _is_medium(item)]
    mediums += [item for item in (_own_oil(bench), _first(stuffs, AdditionKind.ALKYD_MEDIUM)) if item]
    thinners = [item for item in on_palette if _is_only(item, AdditionKind.SOLVENT)]
    if not thinners and (first := _first(stuffs, AdditionKind.SOLVENT)):
        thinners = [first]
    quick = [stuff.ingredient for stuff in stuffs if stuff.ingredient.paint and _quickness(stuff.ingredient) < 1.0]
    quick.sort(key=lambda item: (item not in on_palette, _quickness(item), item.key))
    return Shelf(_each_once(mediums)[:MOST_MEDIUMS], _each_once(thinners), tuple(quick[:MOST_QUICK]))


def _each_once(items: Sequence[Ingredient]) -> tuple[Ingredient, ...]:
    return tuple({item.key: item for item in items}.values())


def _is_only(item: Ingredient, kind: AdditionKind) -> bool:
    return bool(item.additions) and all(part.kind is kind for part in item.additions)


def _is_medium(item: Ingredient) -> bool:
    return bool(item.additions) and not _is_only(item, AdditionKind.SOLVENT)


def _first(stuffs: Sequence[Stuff], kind: AdditionKind) -> Ingredient | None:
    return next((stuff.ingredient for stuff in stuffs if _is_only(stuff.ingredient, kind)), None)


def _own_oil(bench: Bench) -> Ingredient | None:
    """The oil on the shelf that most of the paint is ground in, else another."""
    parts: dict[str, float] = {}
    for item, each in bench.palette.parts:
        if item.paint:
            parts[item.paint.oil] = parts.get(item.paint.oil, 0.0) + each
    return oil_on_shelf(bench, max(parts, key=lambda oil: parts[oil], default="linseed")) or any_oil_on_shelf(bench)


def _quickness(item: Ingredient) -> float:
    """The touch time of a colour as a factor on linseed's, the slowest of its pigments; 1 where it is none of the
    quick ones."""
    assert item.paint is not None
    rows = [find_pigment(each.ci_name, each.variant) for each in item.paint.pigments]
    if not rows or any(row.drying_class not in QUICK_CLASSES for row in rows):
        return 1.0
    return max(row.touch_multiplier for row in rows)
