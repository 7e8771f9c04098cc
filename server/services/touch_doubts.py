"""Touch tests that are worth asking about: softer than before, a date turned round, or hardly likely at all.

Asked, never refused: whoever answers "yes" is believed, the answer is kept with the test, and a test that could not be
asked about (sent by a device that was without a network, or by a program) is taken and asked about later.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from json import dumps
from typing import Protocol

import numpy as np
from sqlmodel import Session

from server.science.learning import Ask, Felt, Learned, Prediction, learn
from server.science.learning.surprise import felt_chances, this_or_more_extreme
from server.services import learning_data, stack
from server.services.learning_data import FELT, SECONDS_PER_DAY, BookLayer, book_layers
from server.services.learning_effects import priors_for
from server.services.whereabouts import whereabouts
from server.store.tables import Layer, Panel, TouchTest

DRYING = ("oil", "alkyd")
SURPRISING = 0.01  # this or more extreme was less likely than that
LIKELIER = 20.0  # times: then another date is offered
ONE_ROUND = timedelta(hours=1)  # within it two words are two readings, not a film that went back
TYPED_FROM = timedelta(hours=12)  # nobody mistypes a moment that is now


class Pressed(Protocol):
    """What a test says, as far as it can be doubted."""

    @property
    def stage(self) -> str: ...

    @property
    def region(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Doubt:
    """``kind``: ``softer`` than the test ``other_uid`` allows; ``date``: ``instead`` is far likelier; ``unusual``."""

    kind: str
    other_uid: str = ""
    other_stage: str = ""
    other_at: datetime | None = None
    instead: datetime | None = None


@dataclass(frozen=True)
class _Foretold:
    """A layer as it was foretold without the test in question."""

    book: BookLayer
    learned: Learned
    prediction: Prediction
    painted_at: datetime

    def chances(self, at: datetime) -> np.ndarray:
        days = max((at - self.painted_at).total_seconds() / SECONDS_PER_DAY, 1e-3)
        effective = float(self.book.clock.progress_at(days))
        return felt_chances(self.prediction, self.learned.settings.sigma_o, effective)


def doubt_of(
    session: Session, layer: Layer, pressed: tuple[Pressed, datetime], now: datetime, besides: TouchTest | None = None
) -> Doubt | None:
    """What is doubtful about a test of a painted layer, pressed at a moment; None for nothing.

    ``besides``: the test as it stands, where it is being corrected.
    """
    test, at = pressed
    others = [each for each in stack.tests_of(session, (layer,)) if besides is None or each.id != besides.id]
    other = _contradicted(test, at, others)
    if other is not None:
        return Doubt("softer", other.uid, other.stage, other.pressed_at)
    foretold = _foretell(session, layer, test, others)
    if foretold is None:
        return None
    felt = FELT[test.stage]
    was_typed = abs(now - at) > TYPED_FROM
    others_days = _turned(at.astimezone(stack.zone_of(session, layer.studio_id))) if was_typed else ()
    instead = _instead(foretold, felt, at, [day for day in others_days if foretold.painted_at <= day <= now])
    if instead is not None:
        return Doubt("date", instead=instead)
    is_rare = this_or_more_extreme(foretold.chances(at), felt) < SURPRISING
    return Doubt("unusual") if is_rare else None


def _contradicted(test: Pressed, at: datetime, others: Sequence[TouchTest]) -> TouchTest | None:
    """An earlier test of the same place that found it harder, or a later one that found it softer."""
    felt = FELT[test.stage]
    for other in reversed(others):
        if other.region != test.region or other.occasion == "seen":
            continue
        later = at - other.pressed_at
        if (later > ONE_ROUND and FELT[other.stage] > felt) or (later < -ONE_ROUND and FELT[other.stage] < felt):
            return other
    return None


def _foretell(session: Session, layer: Layer, test: Pressed, others: Sequence[TouchTest]) -> _Foretold | None:
    if layer.recipe_json is None or layer.painted_at is None or layer.material not in DRYING:
        return None
    places = whereabouts(session, layer.studio_id)
    first = session.get_one(Panel, layer.panel_id).place_id
    where = places.of_layer(layer.panel_id, first, layer.painted_at)
    zone = stack.zone_of(session, layer.studio_id)
    [book] = book_layers([(dumps(layer.recipe_json), layer.painted_at, where)], zone)
    if book is None:
        return None
    studio = learning_data.read(session, layer.studio_id, places)
    learned = studio.learned or learn((), Ask(priors=priors_for((where,))))
    region = book.names.index(test.region) if test.region in book.names else book.holding
    own = book.presses(others, layer.painted_at).get(region, ())
    site = studio.sites.get((layer.uid, region))
    layer_now = book.regions[region] if site is not None else studio.now(book.regions[region])
    prediction = learned.predict(replace(layer_now, presses=own), site)
    return _Foretold(book, learned, prediction, layer.painted_at)


def _instead(foretold: _Foretold, felt: Felt, at: datetime, others: Sequence[datetime]) -> datetime | None:
    """The one of ``others`` that is `LIKELIER` times likelier as the moment of the press."""
    lapse = foretold.learned.settings.lapse

    def chance(when: datetime) -> float:
        return (1 - lapse) * float(foretold.chances(when)[felt]) + lapse / 4

    likeliest = max(others, key=chance, default=None)
    return likeliest if likeliest is not None and chance(likeliest) >= LIKELIER * chance(at) else None


def _turned(local: datetime) -> Iterator[datetime]:
    """The same clock time with day and month turned round, and a year before and after."""
    for year, month, day in (
        (local.year, local.day, local.month),
        (local.year - 1, local.month, local.day),
        (local.year + 1, local.month, local.day),
    ):
        try:
            other = local.replace(year=year, month=month, day=day)
        except ValueError:
            continue
        if other != local:
            yield other
