"""What is asked of a layer laid or kept otherwise, and what is answered."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from server.science.breakdown import RegionBreakdown
from server.science.recipe import LayerRecipe
from server.science.results import Stage, StageRange
from server.services import pigment_names
from server.services.board.facts import DaySpan
from server.services.board.films import LayerOn
from server.services.board.rows import StudioRows
from server.services.climates import Climate
from server.services.errors import FieldError, Invalid
from server.services.fields import Command, Text32, Uid
from server.services.learning import Taught
from server.services.what_if_reasons import Reason
from server.services.whereabouts import PlaceRow

MOST_WAYS = 5
WORTH_D = 0.25  # a way that saves less is not told
TRIED_PCT = 15.0
Percent = Annotated[float, Field(gt=0, le=90)]


def _known_pigment(text: str) -> str:
    try:
        pigment_names.read(text)
    except pigment_names.Unclear as error:
        raise ValueError(str(error)) from None
    return text


class WhatIfQuestion(Command):
    """What is tried out; what is left empty stays as it is.

    ``region``: the mix that medium and pigment go into, by its place among the layer's mixes; all of them without.
    ``medium_pct`` and ``pigment_pct``: of the mix's volume once they are in. Place and warmth hold from the start for a
    layer to come, from now on for one that lies; with anything else the question is of one laid anew.
    """

    wet_thickness_um: Annotated[float, Field(ge=1, le=10_000)] | None = None
    thinner_pct: Annotated[float, Field(ge=0, le=95)] | None = None
    region: Annotated[int, Field(ge=0, le=40)] | None = None
    medium: Literal["", "alkyd", "linseed", "walnut", "poppy", "safflower", "stand_linseed"] = ""
    medium_pct: Percent = 10.0
    pigment: Annotated[Text32 | Literal[""], AfterValidator(lambda text: _known_pigment(text) if text else text)] = ""
    pigment_pct: Percent = TRIED_PCT
    place_uid: Uid | None = None
    temperature_c: Annotated[float, Field(ge=-10, le=45)] | None = None

    @property
    def is_of_the_paint(self) -> bool:
        """Whether it asks for other paint, or for the same laid on otherwise."""
        return bool(self.medium or self.pigment) or (self.wet_thickness_um, self.thinner_pct) != (None, None)


@dataclass(frozen=True, slots=True)
class LayerNow:
    """The layer that is asked about: its recipe, its climate and when it went on, or would; ``lying`` when it is on.

    ``now`` is the moment that is looked at.
    """

    uid: str
    kind: str
    panel_uid: str
    panel_title: str
    recipe: LayerRecipe
    climate: Climate
    laid_at: datetime
    now: datetime
    taught: Taught | None = field(repr=False)
    lying: LayerOn | None = field(default=None, repr=False)

    @property
    def is_painted(self) -> bool:
        return self.lying is not None


@dataclass(frozen=True, slots=True)
class Dates:
    """When each stage is reached: ``ranges`` in days after painting, ``stages`` as dates in the studio's zone, and the
    ranges of each mix by its name."""

    ranges: Mapping[Stage, StageRange]
    stages: Mapping[Stage, DaySpan]
    by_region: tuple[tuple[str, Mapping[Stage, StageRange]], ...]


@dataclass(frozen=True, slots=True)
class Way:
    """Something that would bring the stage nearer: what, when that would be, and by how many days."""

    what: str
    days: DaySpan
    sooner_d: float


@dataclass(frozen=True, slots=True)
class WhatIfAnswer:
    """``tried`` is None while nothing is tried out. ``culprit``: what holds the layer, in words; ``target``: the stage
    that is waited for; ``reasons``: what makes the difference. ``in_hindsight``: of a layer that lies as it would be,
    had it been laid otherwise; its touch tests do not count then."""

    layer: LayerNow
    now: Dates
    tried: Dates | None
    ways: tuple[Way, ...]
    culprit: str
    parts: tuple[RegionBreakdown, ...]
    target: Stage = Stage.DRY_TO_TOUCH
    reasons: tuple[Reason, ...] = ()
    in_hindsight: bool = False


def place_of(rows: StudioRows, uid: str) -> PlaceRow:
    """The place of that uid. Raises ``Invalid`` at ``place_uid``."""
    found = next((row for row in rows.places.values() if row.uid == uid), None)
    if found is None:
        raise Invalid([FieldError("place_uid", "There is no such place in this studio.")])
    return found


def worth_telling(target: Stage, now: Dates, found: Mapping[str, Dates]) -> tuple[Way, ...]:
    """The ways that bring a stage nearer, those that save most first."""
    central = now.ranges[target].p50_d
    ways = [
        Way(what, dates.stages[target], central - dates.ranges[target].p50_d)
        for what, dates in found.items()
        if central - dates.ranges[target].p50_d >= WORTH_D
    ]
    return tuple(sorted(ways, key=lambda way: way.sooner_d, reverse=True)[:MOST_WAYS])
