"""Finding a mix: the smallest changes of a mix that the rules let through by a day.

Medium, thinner, thickness and a share of a quick pigment are varied within the limits below, alone and two kinds
together. All candidates are forecast at once; then the rules are asked of each, the smallest change first, now and on
every later day on which one of their answers turns. Where none is sound by the day, those are listed that clear every
stop and add no caution (see ``passing``). Steps, limits and the measure of smallness are choices of ours.

Smallness is what would have to be measured out, in millilitres to 10 ml of tube paint: medium and oil as they are,
thinner at half (it leaves again), a quick pigment at double (it changes the colour), half or double the thickness as
2 ml.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations, product

from server.science.estimate import estimate_many
from server.science.passing import HORIZON_D, AsItIs, Deadline, Key, day_to_go_on, key_of, stays, turns
from server.science.recipe import Addition, AdditionKind, Ground, LayerRecipe, MixRecipe, Paint, Room
from server.science.results import LayerEstimate, Stage
from server.science.soundness.check import check
from server.science.soundness.rule import WEIGHT
from server.science.soundness.thresholds import DEFAULT, Thresholds
from server.science.soundness.types import Finding, MixChange, NewLayer, Severity, Situation, Verdict, Way

NEW_MEDIUM = (0.05, 0.1, 0.15, 0.2, 0.25)  # parts to a part of paint
MORE_OR_LESS = (0.0, 0.5, 0.75, 1.25, 1.5, 2.0)  # times what is in the mix
SOLVENT_SHARES = (0.1, 0.2, 0.3)  # of the wet mix
QUICK_SHARES = (0.05, 0.1, 0.15, 0.2)  # of the tube paint; a tenth to a fifth is the custom for umber in black
THICKNESSES = (2 / 3, 0.5, 1 / 3, 1.5, 2.0)  # times the thickness asked about
LEAST_UM, MOST_UM = 5.0, 20_000.0
WEIGHT_OF_KIND = {"medium": 1.0, "thinner": 0.5, "quick": 2.0}
ML_PER_DOUBLING = 2.0  # of the thickness
MOST_LISTED = 6
Forecasting = Callable[[Sequence[tuple[LayerRecipe, Room]]], list[LayerEstimate]]


class Want(StrEnum):
    """What is to come about by the day: the layer goes on, or it is touch-dry, nine times in ten."""

    GOES_ON = "goes_on"
    TOUCH_DRY = "touch_dry"


class Kind(StrEnum):
    MEDIUM = "medium"
    THINNER = "thinner"
    QUICK = "quick"
    THICKNESS = "thickness"


@dataclass(frozen=True, slots=True)
class Ingredient:
    """Something on the shelf, as one part by volume: a tube paint, or what a medium or thinner is made of."""

    key: str
    paint: Paint | None = None
    additions: tuple[Addition, ...] = ()


@dataclass(frozen=True, slots=True)
class Palette:
    """What is mixed, in parts by volume, and how thick it goes on (µm wet).

    ``besides`` is what is counted without parts: driers and clove oil.
    """

    parts: tuple[tuple[Ingredient, float], ...]
    wet_um: float
    besides: tuple[Addition, ...] = ()

    def mix(self, name: str = "this mix") -> MixRecipe:
        paints = tuple(replace(item.paint, parts=parts) for item, parts in self.parts if item.paint)
        additions = [replace(each, parts=each.parts * parts) for item, parts in self.parts for each in item.additions]
        return MixRecipe(name, 1.0, paints, (*additions, *self.besides))

    def layer(self, ground: Ground) -> LayerRecipe:
        return LayerRecipe(self.wet_um, ground, (self.mix(),))

    def parts_of(self, ingredient: Ingredient) -> float:
        return next((parts for item, parts in self.parts if item.key == ingredient.key), 0.0)

    def with_parts(self, ingredient: Ingredient, parts: float) -> "Palette":
        """With so many parts of an ingredient, in its place or added at the end; none takes it away."""
        changed = [(item, parts if item.key == ingredient.key else old) for item, old in self.parts]
        if all(item.key != ingredient.key for item, _ in changed):
            changed.append((ingredient, parts))
        return replace(self, parts=tuple((item, each) for item, each in changed if each > 0.0))

    @property
    def paint_parts(self) -> float:
        return sum(parts for item, parts in self.parts if item.paint)

    @property
    def volume(self) -> float:
        return sum(parts for _, parts in self.parts)


@dataclass(frozen=True, slots=True)
class Shelf:
    """What the search may reach for besides what is on the palette."""

    mediums: tuple[Ingredient, ...] = ()
    thinners: tuple[Ingredient, ...] = ()
    quick: tuple[Ingredient, ...] = ()

    def of(self, kind: Kind) -> tuple[Ingredient, ...]:
        by_kind = {Kind.MEDIUM: self.mediums, Kind.THINNER: self.thinners, Kind.QUICK: self.quick}
        return by_kind.get(kind, ())


@dataclass(frozen=True, slots=True)
class Task:
    """What is asked. ``situation`` is that of now with any new layer, which the candidates replace; ``by_d`` days from
    now until the end of the day; ``allowed`` the heaviest verdict that is sound; ``forecast`` tells how mixes dry."""

    palette: Palette
    shelf: Shelf
    situation: Situation
    room: Room
    ground: Ground
    by_d: float
    want: Want = Want.GOES_ON
    allowed: Severity = Severity.NOTE
    forecast: Forecasting = estimate_many

    def forecasts(self, palettes: Iterable[Palette]) -> list[LayerEstimate]:
        """How each dries there, in their order."""
        return list(self.forecast([(palette.layer(self.ground), self.room) for palette in palettes]))


@dataclass(frozen=True, slots=True)
class Move:
    """One change: so many parts of an ingredient, or another thickness."""

    kind: Kind
    ingredient: Ingredient | None = None
    parts: float = 0.0
    wet_um: float = 0.0

    @property
    def what(self) -> str:
        """What is changed, whatever the amount."""
        return self.ingredient.key if self.ingredient else self.kind.value

    def on(self, palette: Palette) -> Palette:
        if self.ingredient is None:
            return replace(palette, wet_um=self.wet_um)
        return palette.with_parts(self.ingredient, self.parts)


@dataclass(frozen=True, slots=True)
class Candidate:
    palette: Palette
    moves: tuple[Move, ...]
    size: float  # see the module

    @property
    def what(self) -> frozenset[str]:
        return frozenset([move.what for move in self.moves])


@dataclass(frozen=True, slots=True)
class Answer:
    """A candidate with what the rules say of it.

    ``in_d``: days from now from which it may go on, None where that does not come within a year; ``done_d`` when what
    was wanted has come about. ``verdict`` is that of the day ``in_d``, or the lightest that it ever comes to.
    """

    candidate: Candidate
    estimate: LayerEstimate
    in_d: float | None
    done_d: float
    verdict: Verdict

    @property
    def stays(self) -> tuple[Finding, ...]:
        """What is more than a note on its day."""
        return stays(self.verdict)

    @property
    def rank(self) -> tuple[int, float]:
        """The fewest cautions left first, then the smallest change."""
        return len(self.stays), self.candidate.size


@dataclass(frozen=True, slots=True)
class Found:
    """``listed``: what passes by the day. Where ``sound`` is True, the smallest change first; else none is sound by
    then, and these clear every stop and add no caution, the fewest cautions left first. ``in_all``: cautions that every
    mix that passes by the day keeps. ``nearest``: where nothing passes, what comes closest."""

    listed: tuple[Answer, ...]
    nearest: Answer | None
    tried: int
    sound: bool = True
    in_all: frozenset[Key] = frozenset()


def find(task: Task, limits: Thresholds = DEFAULT) -> Found:
    """Search. Raises InputError where the mix on the palette cannot be forecast."""
    candidates = sorted(_candidates(task, limits), key=lambda each: each.size)
    estimates = task.forecasts([each.palette for each in candidates])
    as_it_is = AsItIs(list(turns(posed(task, candidates[0], estimates[0]), limits)))
    listed: list[Answer] = []
    others: list[Answer] = []
    until_d = HORIZON_D  # beyond the nearest so far none need be followed
    for candidate, estimate in zip(candidates, estimates, strict=True):
        if _is_covered(candidate, listed):
            continue
        answer = _asked(task, (candidate, estimate), as_it_is, (limits, until_d))
        until_d = min(until_d, max(answer.done_d, task.by_d))
        sound = answer.done_d <= task.by_d and WEIGHT[answer.verdict.verdict] <= WEIGHT[task.allowed]
        (listed if sound else others).append(answer)
        if len(listed) == MOST_LISTED:
            break
    if listed:
        return Found(tuple(listed), None, len(candidates))
    in_time = sorted([answer for answer in others if answer.done_d <= task.by_d], key=lambda answer: answer.rank)
    for answer in in_time:
        if len(listed) < MOST_LISTED and not _is_covered(answer.candidate, listed):
            listed.append(answer)
    nearest = None if listed else min(others, key=_distance)
    return Found(tuple(listed), nearest, len(candidates), sound=False, in_all=_in_all(in_time))


def _is_covered(candidate: Candidate, listed: Sequence[Answer]) -> bool:
    """Whether something that does with less is listed already."""
    return any(answer.candidate.what <= candidate.what for answer in listed)


def _in_all(answers: Sequence[Answer]) -> frozenset[Key]:
    kept = [frozenset([key_of(item) for item in answer.stays]) for answer in answers]
    return frozenset.intersection(*kept) if kept else frozenset()


def _distance(answer: Answer) -> tuple[float, int, tuple[int, float]]:
    never = WEIGHT[answer.verdict.verdict] if answer.in_d is None else 0
    return answer.done_d, never, answer.rank


def posed(task: Task, candidate: Candidate, estimate: LayerEstimate) -> Situation:
    """The question about a candidate, as of now."""
    old = task.situation.upper
    material = old.material if old else task.situation.stack[-1].material
    upper = NewLayer(material, estimate.stages, candidate.palette.layer(task.ground))
    return replace(task.situation, upper=upper)


def _asked(
    task: Task, forecast: tuple[Candidate, LayerEstimate], as_it_is: AsItIs, rules: tuple[Thresholds, float]
) -> Answer:
    """Follow a candidate from now through every day on which an answer of the rules turns. ``rules``: their limits, and
    how many days they are followed."""
    candidate, estimate = forecast
    limits, until_d = rules
    now = posed(task, candidate, estimate)
    rest_d = estimate.stages[Stage.DRY_TO_TOUCH].p90_d if task.want is Want.TOUCH_DRY else 0.0
    day = day_to_go_on(turns(now, limits, until_d), as_it_is, Deadline(task.by_d, rest_d, task.allowed))
    turn = day.turn
    if not day.passes:
        return Answer(candidate, estimate, None, math.inf, turn.verdict)
    return Answer(candidate, estimate, turn.in_d, turn.in_d + rest_d, turn.verdict)


def _candidates(task: Task, limits: Thresholds) -> Iterator[Candidate]:
    """The palette as it is, every change alone, and every two changes of different kinds."""
    yield Candidate(task.palette, (), 0.0)
    by_kind = _moves(task, limits)
    for moves in by_kind.values():
        yield from (_candidate(task.palette, (move,)) for move in moves)
    for one, other in combinations(by_kind, 2):
        yield from (_candidate(task.palette, pair) for pair in product(by_kind[one], by_kind[other]))


def _candidate(palette: Palette, moves: tuple[Move, ...]) -> Candidate:
    changed = palette
    for move in moves:
        changed = move.on(changed)
    return Candidate(changed, moves, _size(palette, moves))


def _size(palette: Palette, moves: Sequence[Move]) -> float:
    base = (palette.paint_parts or palette.volume) / 10.0
    size = 0.0
    for move in moves:
        if move.ingredient is None:
            size += ML_PER_DOUBLING * abs(math.log2(move.wet_um / palette.wet_um))
        else:
            moved = abs(move.parts - palette.parts_of(move.ingredient)) / base
            size += moved * WEIGHT_OF_KIND[move.kind]
    return size


def _moves(task: Task, limits: Thresholds) -> dict[Kind, list[Move]]:
    ways = _ways_out(task, limits)
    amounts = {kind: list(_amounts(task, kind)) for kind in (Kind.MEDIUM, Kind.THINNER, Kind.QUICK)}
    amounts[Kind.MEDIUM] += _worked_out_oil(task, ways)
    amounts[Kind.THINNER] += _worked_out_thinner(task, ways)
    found = {kind: [Move(kind, item, neat(parts)) for item, parts in pairs] for kind, pairs in amounts.items()}
    found[Kind.THICKNESS] = [Move(Kind.THICKNESS, wet_um=neat(um)) for um in _thicknesses(task, ways, limits)]
    # Paint must stay in what was paint.
    palette = task.palette
    return {
        kind: [move for move in moves if move.on(palette).paint_parts > 0.0 or not palette.paint_parts]
        for kind, moves in found.items()
    }


def _ways_out(task: Task, limits: Thresholds) -> list[Way]:
    """What the rules themselves work out for the palette as it is."""
    base = Candidate(task.palette, (), 0.0)
    [estimate] = task.forecasts([task.palette])
    verdict = check(posed(task, base, estimate), limits)
    return [way for finding in verdict.findings if finding.remedy for way in finding.remedy.ways]


def _amounts(task: Task, kind: Kind) -> Iterator[tuple[Ingredient, float]]:
    """What may be put in or taken out of one kind of thing: (ingredient, parts)."""
    palette = task.palette
    for ingredient in task.shelf.of(kind):
        has, volume = palette.parts_of(ingredient), palette.volume
        paint = palette.paint_parts
        if kind is Kind.QUICK:
            yield from ((ingredient, has + paint * share / (1.0 - share)) for share in QUICK_SHARES if paint)
        elif has > 0.0:
            yield from ((ingredient, has * factor) for factor in MORE_OR_LESS if factor or paint)
        elif kind is Kind.THINNER:
            yield from ((ingredient, volume * share / (1.0 - share)) for share in SOLVENT_SHARES)
        else:
            yield from ((ingredient, (paint or volume) * share) for share in NEW_MEDIUM)


def _changes(ways: Sequence[Way]) -> list[MixChange]:
    return [change for way in ways for change in way.by_mix]


def _worked_out_oil(task: Task, ways: Sequence[Way]) -> Iterator[tuple[Ingredient, float]]:
    for change in _changes(ways):
        for ingredient in task.shelf.mediums:
            if change.add_oil_ml > 0.0 and is_pure_oil(ingredient):
                yield ingredient, task.palette.parts_of(ingredient) + change.add_oil_ml / change.ml_per_part


def _worked_out_thinner(task: Task, ways: Sequence[Way]) -> Iterator[tuple[Ingredient, float]]:
    for change in _changes(ways):
        for ingredient in task.shelf.thinners:
            left = task.palette.parts_of(ingredient) - change.reduce_solvent_ml / change.ml_per_part
            if change.reduce_solvent_ml > 0.0 and left >= 0.0:
                yield ingredient, left


def _thicknesses(task: Task, ways: Sequence[Way], limits: Thresholds) -> list[float]:
    wet_um = task.palette.wet_um
    wanted = [wet_um * factor for factor in THICKNESSES]
    wanted += [way.wet_thickness_um for way in ways if way.wet_thickness_um]
    wanted += [wet_um / way.coats for way in ways if way.coats]
    if wet_um > limits.thin_film_um:
        wanted.append(limits.thin_film_um)
    return [um for um in dict.fromkeys(wanted) if LEAST_UM <= um <= MOST_UM and um != wet_um]


def neat(value: float) -> float:
    """Three digits: nobody measures out more."""
    return float(f"{value:.3g}")


def is_oil(ingredient: Ingredient, oil: str) -> bool:
    """Whether it is that oil and nothing else."""
    return is_pure_oil(ingredient) and ingredient.additions[0].oil == oil


def is_pure_oil(ingredient: Ingredient) -> bool:
    """Whether it is one oil and nothing else."""
    return [item.kind for item in ingredient.additions] == [AdditionKind.OIL]
