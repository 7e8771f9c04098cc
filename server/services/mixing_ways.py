"""The ways out that the rules work out, carried out on the palette: what is on it then, how it dries, what they say.

The rules try a way with the drying times as they were. Here the changed mix is forecast anew; a way that would not
lower its finding then, or would raise another, is left out.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from server.science.passing import stays
from server.science.recipe import AdditionKind, Ground, LayerRecipe, Room
from server.science.results import LayerEstimate, Stage
from server.science.search import Ingredient, Palette, is_oil, is_pure_oil, neat
from server.science.soundness import Situation, Thresholds, Verdict, Way, check
from server.science.soundness.mixes import LINSEED
from server.science.soundness.rule import WEIGHT
from server.science.soundness.types import Finding, MixChange, NewLayer
from server.services.board.facts import DaySpan, Moment
from server.services.board.spans import day_span
from server.services.forecasts import FORECASTS, Forecast, question_of
from server.services.learning import Taught
from server.services.mixing_palette import Bench, Line, lines

LEAST_LEFT = 1e-9


@dataclass(frozen=True, slots=True)
class Tried:
    """The mix as it was put to the rules: what is needed to put another in its place.

    ``situation`` holds the mix on the palette as its new layer; ``taught`` is what touch tests say of layers there.
    """

    bench: Bench
    situation: Situation
    room: Room
    ground: Ground
    limits: Thresholds
    moment: Moment
    taught: Taught = field(repr=False)

    def forecasts(self, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[Forecast]:
        """How mixes dry there, as every page forecasts them."""
        return FORECASTS.ask([question_of(pair, self.taught) for pair in pairs])


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way out, carried out. ``wet_um`` after it, and ``coats`` where it is laid in several; ``touch_on`` when it is
    touch-dry, painted now; ``verdict`` what the rules say then."""

    palette: Palette
    lines: tuple[Line, ...]
    wet_um_before: float
    coats: int | None
    touch_on: DaySpan
    verdict: Verdict

    @property
    def wet_um(self) -> float:
        return self.palette.wet_um

    @property
    def is_thickness(self) -> bool:
        return self.wet_um != self.wet_um_before

    @property
    def stays(self) -> tuple[Finding, ...]:
        """What is still more than a note."""
        return stays(self.verdict)


def ways_out(tried: Tried, verdict: Verdict) -> tuple[tuple[WayOut, ...], ...]:
    """For each finding, in their order, the ways out that still hold once the changed mix is forecast anew."""
    asked: list[tuple[int, Way, Palette]] = []
    for place, finding in enumerate(verdict.findings):
        for way in finding.remedy.ways if finding.remedy else ():
            palette = changed(tried.bench, way)
            if palette is not None and palette != tried.bench.palette:
                asked.append((place, way, palette))
    forecasts = tried.forecasts([(palette.layer(tried.ground), tried.room) for _, _, palette in asked])
    found: list[list[WayOut]] = [[] for _ in verdict.findings]
    before = _weights(verdict)
    for (place, way, palette), forecast in zip(asked, forecasts, strict=True):
        if not isinstance(forecast, LayerEstimate):
            continue
        then = check(over(tried, palette, forecast), tried.limits)
        finding = verdict.findings[place]
        if _lowers((finding.rule, finding.title), before, _weights(then)):
            found[place].append(_way_out(tried, way, palette, (forecast, then)))
    return tuple(tuple(ways) for ways in found)


def over(tried: Tried, palette: Palette, estimate: LayerEstimate) -> Situation:
    """The situation with another mix on the brush."""
    old = tried.situation.upper
    assert old is not None
    upper = NewLayer(old.material, dict(estimate.stages), palette.layer(tried.ground), old.same_session)
    return replace(tried.situation, upper=upper)


def _way_out(tried: Tried, way: Way, palette: Palette, answer: tuple[LayerEstimate, Verdict]) -> WayOut:
    estimate, verdict = answer
    moment = tried.moment
    return WayOut(
        palette=palette,
        lines=lines(palette, tried.bench),
        wet_um_before=tried.bench.palette.wet_um,
        coats=way.coats,
        touch_on=day_span(moment.at, estimate.stages[Stage.DRY_TO_TOUCH], moment.zone),
        verdict=verdict,
    )


Weights = dict[tuple[str, str], int]


def _weights(verdict: Verdict) -> Weights:
    return {(found.rule, found.title): WEIGHT[found.severity] for found in verdict.findings}


def _lowers(own: tuple[str, str], before: Weights, after: Weights) -> bool:
    raised = any(weight > before.get(key, 0) for key, weight in after.items() if key != own)
    return not raised and after.get(own, 0) < before[own]


def changed(bench: Bench, way: Way) -> Palette | None:
    """The palette after a way out; None where it takes something that is not on the shelf, or cannot be taken out."""
    palette: Palette | None = bench.palette
    if way.wet_thickness_um:
        return replace(bench.palette, wet_um=neat(way.wet_thickness_um))
    if way.coats:
        return replace(bench.palette, wet_um=neat(bench.palette.wet_um / way.coats))
    for change in way.by_mix:
        palette = palette and _mixed(bench, palette, change)
    return palette


def _mixed(bench: Bench, palette: Palette, change: MixChange) -> Palette | None:
    found: Palette | None = palette
    if change.leave_out:
        found = _left_out(palette, change.leave_out)
    if found is not None and change.reduce_solvent_ml > 0.0:
        found = _less_solvent(bench, found, change.reduce_solvent_ml / change.ml_per_part)
    if found is not None and change.add_oil_ml > 0.0:
        found = _more_oil(bench, found, change.oil, change.add_oil_ml / change.ml_per_part)
    if found is not None and change.add_paint_ml > 0.0:
        grown = 1.0 + change.add_paint_ml / change.ml_per_part / found.paint_parts
        found = replace(found, parts=tuple((i, _up(p * grown) if i.paint else p) for i, p in found.parts))
    return found


def _left_out(palette: Palette, kinds: Sequence[AdditionKind]) -> Palette | None:
    """Without everything that is nothing but these; None where one is mixed into a medium with something else."""
    kept = []
    for item, parts in palette.parts:
        held = {part.kind for part in item.additions}
        if held and held <= set(kinds):
            continue
        if not held.isdisjoint(kinds):
            return None
        kept.append((item, parts))
    besides = tuple(item for item in palette.besides if item.kind not in kinds)
    return replace(palette, parts=tuple(kept), besides=besides)


def _more_oil(bench: Bench, palette: Palette, oil: str, parts: float) -> Palette | None:
    pure = oil_on_shelf(bench, oil) or any_oil_on_shelf(bench)
    return None if pure is None else palette.with_parts(pure, _up(palette.parts_of(pure) + parts))


def oil_on_shelf(bench: Bench, oil: str) -> Ingredient | None:
    """That oil and nothing else, what is on the palette first."""
    return next((item for item in _at_hand(bench) if is_oil(item, oil)), None)


def any_oil_on_shelf(bench: Bench) -> Ingredient | None:
    """An oil and nothing else for a mix whose own is not on the shelf: what is on the palette first, then linseed."""
    on_palette = {item.key for item, _ in bench.palette.parts}
    pure = [item for item in _at_hand(bench) if is_pure_oil(item)]
    pure.sort(key=lambda item: (item.key not in on_palette, item.additions[0].oil != LINSEED))
    return pure[0] if pure else None


def _at_hand(bench: Bench) -> list[Ingredient]:
    return [item for item, _ in bench.palette.parts] + [stuff.ingredient for stuff in bench.known.values()]


def _less_solvent(bench: Bench, palette: Palette, parts: float) -> Palette | None:
    """Less thinner; where that is not enough, less of a medium that is oil and solvent, with its oil put back."""
    left = parts
    for item, has in palette.parts:
        if left > LEAST_LEFT and item.additions and all(p.kind is AdditionKind.SOLVENT for p in item.additions):
            taken = min(has, left)
            palette, left = palette.with_parts(item, _down(has - taken)), left - taken
    for item, has in palette.parts:
        solvent = sum(part.parts for part in item.additions if part.kind is AdditionKind.SOLVENT)
        if left <= LEAST_LEFT or solvent <= 0.0:
            continue
        taken = min(has, left / solvent)
        left -= taken * solvent
        swapped = _without_medium(bench, palette.with_parts(item, _down(has - taken)), item, taken)
        if swapped is None:
            return None
        palette = swapped
    return palette if left <= LEAST_LEFT else None


def _without_medium(bench: Bench, palette: Palette, item: Ingredient, taken: float) -> Palette | None:
    """The oils of so many parts of a medium put back pure; None where it held something else."""
    for part in item.additions:
        if part.kind is AdditionKind.SOLVENT:
            continue
        pure = oil_on_shelf(bench, part.oil or "") if part.kind is AdditionKind.OIL else None
        if pure is None:
            return None
        palette = palette.with_parts(pure, _up(palette.parts_of(pure) + part.parts * taken))
    return palette


def _up(parts: float) -> float:
    """Three digits, never less: what is added must be enough."""
    return _cut(parts, math.ceil)


def _down(parts: float) -> float:
    return _cut(parts, math.floor)


def _cut(parts: float, to_whole: Callable[[float], int]) -> float:
    if parts <= LEAST_LEFT:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(parts)) - 2)
    whole = parts / step
    near = round(whole)
    if abs(whole - near) < 1e-6:  # what is three digits already stays
        return neat(near * step)
    return neat(to_whole(whole) * step)
