"""The ``learn`` call: what the touch tests of many layers say of the effects, and of layers to come or in progress."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, Field

from server.formats.calls.call import Call
from server.formats.calls.layer_in import CallModel, Code, Collector, NotTiny, StageD
from server.formats.calls.learn_answer import answer_one
from server.formats.calls.soundness import Pressed
from server.science.learning import Ask, Evidence, Felt, Offsets, Press, Priors, Settings

MOST_LAYERS, MOST_TESTS, MOST_EFFECTS = 5_000, 20_000, 400
KINDS = ("studio", "place", "pigment", "medium", "tube", "thickness", "temperature", "humidity")
FELT = {
    Pressed.WET: Felt.WET,
    Pressed.TACKY: Felt.TACKY,
    Pressed.TOUCH_DRY: Felt.TOUCH_DRY,
    Pressed.FIRM: Felt.FIRM,
}


def _effect_name(name: str) -> str:
    kind, colon, rest = name.partition(":")
    if kind not in KINDS or (colon and not rest):
        raise ValueError(f"must begin with one of {', '.join(KINDS)}, as in studio or pigment:PW6")
    return name


EffectName = Annotated[Code, AfterValidator(_effect_name)]
Weight = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-10, le=10)]
PriorSd = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.001, le=3)]
Noise = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.01, le=2)]
PressD = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=200_000)]
Tacky = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-6, le=-0.001)]
Firm = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0.001, le=6)]


class StageOffsetsIn(CallModel):
    """Logarithms of when a layer turns tacky and firm, against when it is dry to the touch."""

    tacky: Tacky = -0.6
    firm: Firm = 0.6


class SettingsIn(CallModel):
    """``sigma``: sd between layers alike; ``sigma_o``: of a finger's reading; ``lapse``: share of tests that are wrong.

    With ``learn_settings`` these are where learning starts, and the answer averages over what it leaves uncertain.
    """

    sigma: Noise = 0.25
    sigma_o: Noise = 0.12
    stage_offsets: StageOffsetsIn = StageOffsetsIn()
    lapse: Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=0.2)] = 0.02
    learn_settings: Annotated[bool, Field(strict=True)] = False


class TestIn(CallModel):
    """``day``: effective days after painting, that is days at the reference room."""

    day: PressD
    stage: Pressed


Bound = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, le=200_000), NotTiny] | None


class AnyLayerIn(CallModel):
    """What is told of a layer, pressed or to come: its name, the book's days, its effects with their weights."""

    id: Code
    book_touch_dry_d: StageD
    effects: dict[EffectName, Weight] = Field(default_factory=dict, max_length=60)
    stage_offsets: StageOffsetsIn | None = None


class LearnLayerIn(AnyLayerIn):
    """A layer with its tests, or with the days between which it became dry to the touch (null: an open end)."""

    tests: list[TestIn] | None = Field(default=None, max_length=400)
    between_d: list[Bound] | None = Field(default=None, min_length=2, max_length=2)


class PredictIn(AnyLayerIn):
    """A layer to come, or one in progress with its tests so far; one of ``layers`` when it has the same id."""

    tests: list[TestIn] = Field(default_factory=list, max_length=400)


class LearnRequest(CallModel):
    """What do these touch tests say of the layers to come?

    ``prior_sd``: by an effect's name or by its kind, as in pigment:*; the most specific one wins.
    """

    settings: SettingsIn = SettingsIn()
    prior_sd: dict[EffectName, PriorSd] = Field(default_factory=dict, max_length=400)
    layers: list[LearnLayerIn] = Field(default_factory=list, max_length=MOST_LAYERS)
    predict: list[PredictIn] = Field(default_factory=list, max_length=MOST_LAYERS)


class EffectOut(BaseModel):
    """On the logarithm of time: 0.18 is about 18 % slower. ``prior_sd`` as given.

    ``learned_pct``: how much of the prior's variance is gone, the prior scaled as the settings say.
    """

    name: str
    mean: float
    sd: float
    prior_sd: float
    learned_pct: float


class PairOut(BaseModel):
    """Two effects that the tests do not tell apart; ``mean`` and ``learned_pct`` are those of their sum."""

    names: list[str]
    correlation: float
    mean: float
    learned_pct: float


class StageOffsetsOut(BaseModel):
    tacky: float
    firm: float


class SettingsOut(BaseModel):
    """As used; learned ones at their most likely. ``effect_scale``: factor on the prior sds of pigments and mediums.

    ``stage_shift``: what was added to every layer's offsets, its own or the usual ones.
    """

    sigma: float
    sigma_o: float
    stage_offsets: StageOffsetsOut
    stage_shift: StageOffsetsOut
    lapse: float
    effect_scale: float
    learn_settings: bool


class PercentilesOut(BaseModel):
    p05_d: float
    p10_d: float
    p50_d: float
    p90_d: float
    p95_d: float


class LearnedStagesOut(BaseModel):
    """Stages by the names of ASTM D1640 and ISO 9117, effective days after painting."""

    set_to_touch: PercentilesOut
    dry_to_touch: PercentilesOut
    dry_through: PercentilesOut


class PredictionOut(PercentilesOut):
    """When it is dry to the touch: mean and sd of the logarithm of effective days, and percentiles."""

    id: str
    log_mean: float
    log_sd: float
    stages: LearnedStagesOut


class FlagOut(BaseModel):
    """A test that is more likely wrong than not; ``test`` counts from 0 within its layer."""

    id: str
    test: int
    chance_wrong: float


class LearnAnswer(BaseModel):
    effects: list[EffectOut]
    pairs: list[PairOut]
    log_evidence: float
    settings: SettingsOut
    predictions: list[PredictionOut]
    flags: list[FlagOut]
    warnings: list[str]


Prepared = tuple[LearnRequest, Ask, list[Evidence], list[Evidence]]


def prepare(request: LearnRequest, _now: datetime, faults: Collector) -> Prepared | None:
    """The request in the science's own types, or None with the faults collected."""
    before = len(faults.problems)
    _check(request, faults)
    if len(faults.problems) > before:
        return None
    given = request.settings
    offsets = Offsets(given.stage_offsets.tacky, given.stage_offsets.firm)
    settings = Settings(given.sigma, given.sigma_o, offsets, lapse=given.lapse)
    ask = Ask(settings, Priors(request.prior_sd), given.learn_settings)
    return request, ask, [_evidence(layer) for layer in request.layers], [_evidence(x) for x in request.predict]


def _check(request: LearnRequest, faults: Collector) -> None:
    """What no single field can tell."""
    every: list[LearnLayerIn | PredictIn] = [*request.layers, *request.predict]
    for kind, layers in (("layers", request.layers), ("predict", request.predict)):
        _check_names(kind, layers, faults)
    for i, layer in enumerate(request.layers):
        _check_times(layer, ("layers", i), faults)
    names = {name for layer in every for name in layer.effects}
    tests = sum(len(layer.tests or ()) for layer in every)
    if len(names) > MOST_EFFECTS:
        faults.add(("layers",), f"name {len(names)} effects; at most {MOST_EFFECTS}")
    if tests > MOST_TESTS:
        faults.add(("layers",), f"hold {tests:,} tests; at most {MOST_TESTS:,}")


def _check_names(kind: str, layers: Sequence[AnyLayerIn], faults: Collector) -> None:
    seen: set[str] = set()
    for i, layer in enumerate(layers):
        if layer.id in seen:
            faults.add((kind, i, "id"), "stands there twice")
        seen.add(layer.id)
        for name in layer.effects:
            if name.endswith(":*"):
                faults.add((kind, i, "effects", name), "stands for a kind; a layer needs the full name")


def _check_times(layer: LearnLayerIn, path: tuple[int | str, ...], faults: Collector) -> None:
    if (layer.tests is None) == (layer.between_d is None):
        faults.add(path, "needs either tests or between_d, and not both")
    if layer.between_d is not None:
        after, by = layer.between_d
        if after is None and by is None:
            faults.add((*path, "between_d"), "needs one end at least")
        elif after is not None and by is not None and after >= by:
            faults.add((*path, "between_d"), "must begin before it ends")


def _evidence(layer: LearnLayerIn | PredictIn) -> Evidence:
    between = None
    if isinstance(layer, LearnLayerIn) and layer.between_d is not None:
        between = (layer.between_d[0], layer.between_d[1])
    own = layer.stage_offsets
    return Evidence(
        layer.book_touch_dry_d,
        tuple(sorted(layer.effects.items())),
        tuple(Press(test.day, FELT[test.stage]) for test in layer.tests or ()),
        between,
        None if own is None else Offsets(own.tacky, own.firm),
    )


def answer_many(prepared: Sequence[Prepared]) -> list[dict[str, Any]]:
    """The answers, in order."""
    return [_answer(*each) for each in prepared]


def _answer(request: LearnRequest, ask: Ask, layers: list[Evidence], predict: list[Evidence]) -> dict[str, Any]:
    ids = [layer.id for layer in request.layers]
    answer = answer_one(ask, (ids, layers), ([layer.id for layer in request.predict], predict))
    answer["settings"]["learn_settings"] = request.settings.learn_settings
    return {name: answer[name] for name in LearnAnswer.model_fields}


CALL = Call(LearnRequest, LearnAnswer, prepare, answer_many)
