"""What a studio's touch tests taught: one posterior a studio, applied where forecasts are answered.

It is worked out when one of the tests changes and kept under the content of all of them. ``services/forecasts.py``
applies it and nothing else does, so that every page shows the same dates. With nothing learned a forecast is the
book's, to the last digit.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from math import log
from typing import Any

from server.science.climate import Clock, reference_clock
from server.science.learning import Ask, Evidence, Felt, Learned, Prediction, Press, Priors, Scales, learn
from server.science.learning.likelihood import Rows
from server.science.learning.scoring import Promise
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate
from server.services.give_way import give_way
from server.services.kept import Kept
from server.services.learning_correction import Correction, correction_of, told_promise
from server.services.learning_effects import Effects, Where, priors_for
from server.services.learning_moves import Moved, book_evidence, moved_by, prior_sd, stages_moved, with_regions

LEARNING_VERSION = "1"
POSTERIORS_KEPT = 64
VIEWS_KEPT = 24_000  # some two kilobytes each
MOST_ROWS = 30_000  # of tables that are kept; some 700 bytes each
Unit = tuple[str, int]  # a layer's uid and which of its regions
Presses = Mapping[int, tuple[Press, ...]]  # by region

_numbers = count(1)


@dataclass(frozen=True, slots=True)
class Drift:
    """The steps of slow change by the last layer that taught, and a quarter of a year before it."""

    now: Effects = ()
    before: Effects = ()


NO_DRIFT = Drift()


@dataclass(frozen=True)
class StudioLearning:
    """The posterior of a studio, or the book where nothing is learned (``learned`` is None).

    ``number`` is another one for each content; ``units`` are the fitted regions of layers, in their order, with their
    ``evidence``. ``drift``: the steps of slow change up to the last layer that taught, and a quarter of a year before
    it. ``unanchored`` counts layers left out because their first test found them dry already.
    """

    number: int
    learned: Learned | None
    units: tuple[Unit, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    unanchored: int = 0
    sites: Mapping[Unit, int] = field(default_factory=dict)
    drift: Drift = NO_DRIFT
    correction: Correction | None = None

    def now(self, book: Evidence) -> Evidence:
        """A layer of now: with the slow change up to now."""
        return replace(book, effects=(*book.effects, *self.drift.now))

    @property
    def change(self) -> tuple[float, float] | None:
        """Mean and sd of how much the studio's level moved within the last quarter of a year, in logarithms."""
        if self.learned is None or not self.drift.now:
            return None
        before = dict(self.drift.before)
        return self.learned.level({name: weight - before.get(name, 0.0) for name, weight in self.drift.now})

    @property
    def tests(self) -> int:
        """How many tests taught."""
        return sum(len(each.presses) for each in self.evidence)

    @property
    def layers(self) -> int:
        """How many layers taught."""
        return len({uid for uid, _ in self.units})

    def of(self, where: Where, layer_uid: str = "", presses: Presses | None = None) -> "Taught":
        """What it says of one layer in a place; ``presses`` are those of a layer that is on."""
        own = tuple(sorted((presses or {}).items()))
        return Taught(self, where, layer_uid if own else "", own)


BOOK = StudioLearning(0, None)


@dataclass(frozen=True)
class Taught:
    """What a studio's learning says of one layer."""

    studio: StudioLearning
    where: Where
    layer_uid: str = ""
    presses: tuple[tuple[int, tuple[Press, ...]], ...] = ()

    @property
    def key(self) -> Hashable:
        """Stands for everything an estimate is moved by; None where nothing is learned."""
        if self.studio.learned is None:
            return None
        return self.studio.number, self.where.uid, self.layer_uid, self.presses

    def promised(self, estimate: LayerEstimate, recipe: LayerRecipe, room: Room) -> dict[str, Any]:
        """What is kept with a layer for scoring: its promise on the clock of the reference room, and what it rests on.

        Of the region the layer waits for; ``estimate`` is the book's. With nothing learned the promise is the prior's.
        """
        clock = reference_clock(room)
        books = book_evidence(estimate, recipe, clock, self.where)
        held = next((i for i, region in enumerate(estimate.regions) if region.holds_up), 0)
        book = books[held]
        learned = self.studio.learned
        assert book.offsets is not None
        found = None if learned is None else self.prediction(book, held)
        priors = priors_for((self.where,)) if learned is None else learned.priors
        return {
            "version": LEARNING_VERSION,
            **told_promise(
                log(book.book_d) if found is None else found.log_mean,
                prior_sd(book, priors) if found is None else found.log_sd,
                self.studio.correction,
            ),
            "book_log_sd": round(prior_sd(book, priors), 6),
            "book_touch_dry_d": round(book.book_d, 6),
            "offsets": {"tacky": round(book.offsets.tacky, 6), "firm": round(book.offsets.firm, 6)},
            "tests": self.studio.tests,
            "layers": self.studio.layers,
        }

    def own(self, region: int) -> tuple[Press, ...]:
        """The presses of one of its regions."""
        return dict(self.presses).get(region, ())

    def prediction(self, book: Evidence, region: int) -> Prediction:
        """When a region is dry to the touch, its own presses counted once."""
        assert self.studio.learned is not None
        site = self.studio.sites.get((self.layer_uid, region))
        layer = book if site is not None else self.studio.now(book)
        return self.studio.learned.predict(replace(layer, presses=self.own(region)), site)

    def is_fresh(self, region: int) -> bool:
        """Whether nobody ever pressed that region."""
        return not self.own(region) and (self.layer_uid, region) not in self.studio.sites


@dataclass(frozen=True)
class Asked:
    """A book's estimate to be moved. ``content`` stands for its recipe and room, which ``make`` builds."""

    taught: Taught
    book: LayerEstimate
    content: Hashable
    make: Callable[[], tuple[LayerRecipe, Room]]


@dataclass(frozen=True)
class _View:
    """A layer on the clock of the reference room, as the book has it; it stays the same whatever is learned."""

    clock: Clock
    regions: tuple[Evidence, ...]


_views: Kept[_View] = Kept(VIEWS_KEPT)


def applied(asked: Sequence[Asked]) -> list[LayerEstimate]:
    """The estimates with every region's dates moved by what was learned, in their order."""
    views = [_view(each) for each in asked]
    predictions = _predictions(asked, views)
    return [_moved(each, view, found) for each, view, found in zip(asked, views, predictions, strict=True)]


def _view(asked: Asked) -> _View:
    give_way()
    key = (asked.content, asked.taught.where.uid, asked.taught.where.prior_sd)
    found = _views.get(key)
    if found is None:
        recipe, room = asked.make()
        clock = reference_clock(room)
        found = _View(clock, book_evidence(asked.book, recipe, clock, asked.taught.where))
        _views.keep({key: found})
    return found


def _predictions(asked: Sequence[Asked], views: Sequence[_View]) -> list[list[Prediction]]:
    """When every region is dry to the touch. All that were never pressed are worked out together."""
    fresh: dict[int, list[tuple[int, int]]] = defaultdict(list)
    learned: dict[int, Learned] = {}
    found: list[list[Prediction | None]] = [[None] * len(view.regions) for view in views]
    for place, (each, view) in enumerate(zip(asked, views, strict=True)):
        studio = each.taught.studio
        assert studio.learned is not None
        for region, book in enumerate(view.regions):
            if each.taught.is_fresh(region):
                fresh[studio.number].append((place, region))
                learned[studio.number] = studio.learned
            else:
                found[place][region] = each.taught.prediction(book, region)
    for number, places in fresh.items():
        answers = learned[number].predict_fresh(
            [asked[place].taught.studio.now(views[place].regions[region]) for place, region in places]
        )
        for (place, region), answer in zip(places, answers, strict=True):
            found[place][region] = answer
    return [[each for each in row if each is not None] for row in found]


def _moved(asked: Asked, view: _View, found: Sequence[Prediction]) -> LayerEstimate:
    give_way()
    regions = [
        replace(region, stages=stages_moved(region.stages, view.clock, _move(asked.taught, number, (prediction, book))))
        for number, (region, book, prediction) in enumerate(zip(asked.book.regions, view.regions, found, strict=True))
    ]
    return with_regions(asked.book, regions)


def _move(taught: Taught, region: int, told: tuple[Prediction, Evidence]) -> Moved:
    """How a region's dates are moved; a film that was pressed speaks for itself, and is not corrected."""
    studio = taught.studio
    assert studio.learned is not None
    moved = moved_by(*told, studio.learned.priors)
    if studio.correction is None or not taught.is_fresh(region):
        return moved
    later, kappa = studio.correction.delta * told[0].log_sd, studio.correction.kappa
    return replace(moved, shift=moved.shift + later, low=kappa * moved.low, high=kappa * moved.high)


@dataclass(frozen=True)
class Material:
    """What there is to learn from: units with their evidence, in a fixed order, and the priors."""

    units: tuple[Unit, ...]
    evidence: tuple[Evidence, ...]
    places: tuple[Where, ...]
    priors: Priors
    unanchored: int
    drift: Drift = NO_DRIFT
    promises: tuple[Promise, ...] = ()

    @property
    def content(self) -> Hashable:
        places = tuple((each.effect, each.prior_sd) for each in self.places)
        return self.units, self.evidence, places, self.unanchored, self.drift, self.promises

    @property
    def tests(self) -> int:
        return sum(len(each.presses) for each in self.evidence)


_kept: Kept[StudioLearning] = Kept(POSTERIORS_KEPT)
_tables: Rows = {}


def learned_from(material: Material, scales: Scales) -> StudioLearning:
    """The posterior of a studio; the same material and scales are answered from what is kept."""
    if not material.evidence:
        return BOOK
    key = (material.content, scales.draws)
    found = _kept.get(key)
    if found is None:
        if len(_tables) > MOST_ROWS:
            _tables.clear()
        learned = learn(material.evidence, Ask(priors=material.priors), scales, _tables)
        sites = {unit: i for i, unit in enumerate(material.units)}
        correction = correction_of(material.promises, learned.settings)
        of = (material.units, material.evidence, material.unanchored)
        found = StudioLearning(next(_numbers), learned, *of, sites, material.drift, correction)
        _kept.keep({key: found})
    return found


def never_soft(presses: Sequence[Press]) -> bool:
    """Whether all of these tests found the layer dry already, so that nobody knows when it still was soft."""
    return all(press.felt >= Felt.TOUCH_DRY for press in presses)
