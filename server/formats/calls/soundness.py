"""The ``soundness`` call: a stack and what is to be done with it in, the verdict with its remedies out."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, Field

from server.formats.calls import layer_in
from server.formats.calls.call import Call
from server.formats.calls.estimate_out import DAYS_DIGITS
from server.formats.calls.finish_tests_in import FinishTestIn, finish_tests
from server.formats.calls.layer_in import AgeD, CallModel, Code, Collector, LayerIn, RoomIn
from server.formats.calls.stages_in import Stages, StagesIn, check_stages, complete, overruled
from server.science import reference
from server.science.errors import InputError
from server.science.estimate import stage_ranges_many
from server.science.finish_tests import with_finish_tests
from server.science.recipe import LayerRecipe, Room
from server.science.results import FilmState
from server.science.soundness import Action, GroundFacts, Material, NewLayer, PaintedLayer, Situation, check
from server.science.soundness.types import Finding, Verdict

SECONDS_PER_DAY = 86_400.0
FLOAT_ERROR = 1e-12
AT_ONCE = 512  # requests


class Support(StrEnum):
    RIGID = "rigid"
    STRETCHED = "stretched"


class GroundKind(StrEnum):
    ACRYLIC = "acrylic"
    OIL = "oil"
    GLUE_CHALK = "glue_chalk"
    NONE = "none"


class GroundSurface(StrEnum):
    ABSORBENT = "absorbent"
    MATTE = "matte"
    SEALED = "sealed"
    GLOSS = "gloss"


class PaintSurface(StrEnum):
    MATTE = "matte"
    GLOSS = "gloss"


class Pressed(StrEnum):
    """What the painter's own touch test said."""

    WET = "wet"
    TACKY = "tacky"
    TOUCH_DRY = "touch_dry"
    FIRM = "firm"


class GroundIn(CallModel):
    kind: GroundKind
    age_d: AgeD | None = None
    surface: GroundSurface = GroundSurface.MATTE
    pigments: list[Code] = Field(default_factory=list, max_length=20)


class StackLayerIn(CallModel):
    """A layer that is there; exactly one of ``age_d`` and ``painted_at``."""

    layer: LayerIn | None = None
    kind: Material
    surface: PaintSurface | None = None
    age_d: AgeD | None = None
    painted_at: AwareDatetime | None = None
    observed: Pressed | None = None
    stages: StagesIn | None = None


class UpperIn(CallModel):
    layer: LayerIn
    kind: Material
    same_session: Annotated[bool, Field(strict=True)] = False
    stages: StagesIn | None = None


FIRST_YEAR = 1500  # of ``now``: the oldest layer that may be told of lies within the calendar then
Positive = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=1_000_000)]


class SoundnessRequest(CallModel):
    """May this be done now? ``stack`` runs from the lowest layer to the top; empty means bare ground.

    ``now`` (default: the clock) is when; it matters only where a layer gives ``painted_at``. ``finish_tests`` are tests
    of the picture as it is: the last swab counts, and thumb and fingernail count as touch tests.
    """

    support: Support
    ground: GroundIn
    stack: list[StackLayerIn] = Field(default_factory=list, max_length=100)
    upper: UpperIn | None = None
    action: Action = Action.NEXT_LAYER
    finish_tests: list[FinishTestIn] = Field(default_factory=list, max_length=100)
    room: RoomIn | None = None
    paint_ml: Positive = 10.0
    area_cm2: Positive | None = None
    couch_ml: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=10_000)] | None = None
    transit_c: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-60, le=80)] | None = None
    drops_per_ml: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=5, le=60)] = 20.0
    now: AwareDatetime | None = None


class RemedyOut(BaseModel):
    """Figures that do not apply are null. ``not_before_d`` is an age of the layer below, or of
    the bare ground."""

    text: str
    add_oil_ml: float | None
    add_oil_g: float | None
    add_oil_drops: int | None
    reduce_solvent_ml: float | None
    add_paint_ml: float | None
    max_couch_ml: float | None
    coats: int | None
    not_before_d: float | None
    not_before_at: AwareDatetime | None


class FindingOut(BaseModel):
    rule: str
    severity: str
    title: str
    reason: str
    basis: str
    source: str
    remedy: RemedyOut | None


class SoundnessAnswer(BaseModel):
    verdict: str
    state: str
    findings: list[FindingOut]


class Prepared:
    """One request on its way: what the model must still estimate, and how to finish once it has."""

    def __init__(self, request: SoundnessRequest, now: datetime, faults: Collector) -> None:
        self.request = request
        self.now = request.now or now
        if self.now.year < FIRST_YEAR:
            faults.add(("now",), f"must not be before the year {FIRST_YEAR}")
            self.now = now
        self.ages_d = [self._age_d(item, i, faults) for i, item in enumerate(request.stack)]
        self.recipes = [
            None if item.layer is None else layer_in.layer(item.layer, ("stack", i, "layer"), faults)
            for i, item in enumerate(request.stack)
        ]
        self.upper = request.upper and layer_in.layer(request.upper.layer, ("upper", "layer"), faults)
        if request.room is not None:
            layer_in.check_room(request.room, ("room",), faults)
        top_age_d = self.ages_d[-1] if self.ages_d else None
        self.tests = finish_tests(request.finish_tests, top_age_d, self.now, faults) if request.finish_tests else ()
        self.ground_pigments = _colour_index_names(request.ground.pigments, faults)
        self._check(faults)

    def _age_d(self, item: StackLayerIn, i: int, faults: Collector) -> float:
        if (item.age_d is None) == (item.painted_at is None):
            faults.add(("stack", i, "age_d"), "give either age_d or painted_at")
            return 0.0
        if item.painted_at is None:
            return item.age_d or 0.0
        age_d = (self.now - item.painted_at).total_seconds() / SECONDS_PER_DAY
        if age_d < 0:
            faults.add(("stack", i, "painted_at"), "must not be in the future")
        return max(0.0, age_d)

    def _check(self, faults: Collector) -> None:
        for i, (item, recipe) in enumerate(zip(self.request.stack, self.recipes, strict=True)):
            if recipe is None and item.kind in (Material.OIL, Material.ALKYD) and not complete(item.stages):
                faults.add(("stack", i, "layer"), "is missing: an oil or alkyd layer needs it, or all its stages")
            if i and self.ages_d[i] > self.ages_d[i - 1]:
                faults.add(("stack", i, "age_d"), "must not be older than the layer below it")
            check_stages(item.stages, ("stack", i, "stages"), faults)
        layered = (Action.NEXT_LAYER, Action.WORK_LIGHTLY)
        if self.request.upper is None and self.request.action in layered:
            faults.add(("upper",), f"is missing: the action {self.request.action.value} needs the layer to go on")
        if self.request.upper is not None:
            check_stages(self.request.upper.stages, ("upper", "stages"), faults)

    def wanted(self) -> list[tuple[LayerRecipe, Room]]:
        """The estimates this request needs, stack first, upper last."""
        layers = [(recipe, age_d) for recipe, age_d in zip(self.recipes, self.ages_d, strict=True) if recipe]
        if self.upper:
            layers.append((self.upper, 0.0))
        if self.request.room is None or self.request.room.series is None:  # the same whenever it was painted
            steady = self._room(0.0)
            return [(recipe, steady) for recipe, _ in layers]
        return [(recipe, self._room(age_d)) for recipe, age_d in layers]

    def _room(self, age_d: float) -> Room:
        given = self.request.room or RoomIn(
            temperature_c=layer_in.REFERENCE_TEMPERATURE_C, relative_humidity_pct=layer_in.REFERENCE_HUMIDITY_PCT
        )
        return layer_in.room(given, self.now - timedelta(days=age_d))

    def situation(self, estimates: Sequence[Stages]) -> Situation:
        waiting = iter(estimates)
        stack = tuple(
            PaintedLayer(
                material=item.kind,
                age_d=age_d,
                stages=overruled(next(waiting) if recipe else {}, item.stages),
                recipe=recipe,
                surface=item.surface and item.surface.value,
                observed=FilmState(item.observed.value) if item.observed else None,
                observed_age_d=age_d if item.observed else None,
            )
            for item, recipe, age_d in zip(self.request.stack, self.recipes, self.ages_d, strict=True)
        )
        upper = None
        if self.request.upper and self.upper:
            stages = overruled(next(waiting), self.request.upper.stages)
            upper = NewLayer(self.request.upper.kind, stages, self.upper, self.request.upper.same_session)
        ground = self.request.ground
        asked = Situation(
            support=self.request.support.value,
            ground=GroundFacts(ground.kind.value, ground.age_d, ground.surface.value, self.ground_pigments),
            stack=stack,
            upper=upper,
            action=self.request.action,
            paint_ml=self.request.paint_ml,
            area_cm2=self.request.area_cm2,
            couch_ml=self.request.couch_ml,
            transit_c=self.request.transit_c,
            drops_per_ml=self.request.drops_per_ml,
        )
        return with_finish_tests(asked, self.tests) if self.tests else asked

    def answer(self, estimates: Sequence[Stages]) -> dict[str, Any]:
        verdict = check(self.situation(estimates))
        age_d = self.ages_d[-1] if self.ages_d else self.request.ground.age_d
        return _answer(verdict, self.now, age_d)


def _colour_index_names(given: Sequence[str], faults: Collector) -> tuple[str, ...]:
    """The names as the rules look for them: one they do not know would pass unseen."""
    names = []
    for i, name in enumerate(given):
        try:
            names.append(reference.colour_index_name(name))
        except InputError as error:
            faults.add(("ground", "pigments", i), error.message)
    return tuple(names)


def _no_less(value: float) -> float:
    """Six digits, rounded up: what a remedy asks for is enough when it comes back as it was told."""
    told = float(f"{value:.{DAYS_DIGITS}g}")
    if told >= value * (1 - FLOAT_ERROR):
        return told
    place = 10.0 ** (math.floor(math.log10(value)) + 1 - DAYS_DIGITS)
    return float(f"{told + place:.{DAYS_DIGITS}g}")


def _no_more(value: float) -> float:
    """Six digits, rounded down."""
    told = _no_less(value)
    if value <= 0 or told <= value * (1 + FLOAT_ERROR):
        return told
    place = 10.0 ** (math.floor(math.log10(value)) + 1 - DAYS_DIGITS)
    return float(f"{told - place:.{DAYS_DIGITS}g}")


def _no_earlier(now: datetime, wait_d: float) -> str | None:
    """``now`` plus so many days, to the second above; None beyond the calendar."""
    try:
        return (now + timedelta(days=wait_d, microseconds=999_999)).isoformat(timespec="seconds")
    except OverflowError:
        return None


def _remedy(finding: Finding, now: datetime, age_d: float | None) -> dict[str, Any] | None:
    """``age_d``: of what the remedy's date counts from, the top layer or the bare ground."""
    remedy = finding.remedy
    if remedy is None:
        return None
    figures = ("add_oil_ml", "add_oil_g", "reduce_solvent_ml", "add_paint_ml", "not_before_d")
    values: dict[str, Any] = {name: getattr(remedy, name) for name in figures}
    answer = {name: None if value is None else _no_less(value) for name, value in values.items()}
    at = None
    if remedy.not_before_d is not None and age_d is not None:
        at = _no_earlier(now, remedy.not_before_d - age_d)
    return {
        "text": remedy.text,
        **answer,
        "max_couch_ml": None if remedy.max_couch_ml is None else _no_more(remedy.max_couch_ml),
        "add_oil_drops": remedy.add_oil_drops,
        "coats": remedy.coats,
        "not_before_at": at,
    }


def _answer(verdict: Verdict, now: datetime, age_d: float | None) -> dict[str, Any]:
    return {
        "verdict": verdict.verdict.value,
        "state": verdict.state.value,
        "findings": [
            {
                "rule": finding.rule,
                "severity": finding.severity.value,
                "title": finding.title,
                "reason": finding.reason,
                "basis": finding.basis.value,
                "source": finding.source,
                "remedy": _remedy(finding, now, age_d),
            }
            for finding in verdict.findings
        ],
    }


def answer_many(prepared: Sequence[Prepared]) -> list[dict[str, Any]]:
    """In goes small enough for the processor's cache, which takes a little less time than all at once."""
    answers: list[dict[str, Any]] = []
    for start in range(0, len(prepared), AT_ONCE):
        answers += _answer_some(prepared[start : start + AT_ONCE])
    return answers


def _answer_some(prepared: Sequence[Prepared]) -> list[dict[str, Any]]:
    wanted = [item.wanted() for item in prepared]
    estimates = iter(stage_ranges_many([pair for pairs in wanted for pair in pairs]))
    return [item.answer([next(estimates) for _ in pairs]) for item, pairs in zip(prepared, wanted, strict=True)]


CALL = Call(SoundnessRequest, SoundnessAnswer, Prepared, answer_many)
