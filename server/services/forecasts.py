"""Estimates of many layers at once, kept so that a page asks the model only for what is new.

Estimates depend on nothing but the recipe and the room, so the cache is shared by all studios and needs no
invalidation: a changed recipe or room is another key. What is not kept yet is worked out in one vectorised call.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from server.science.errors import InputError
from server.science.estimate import MODEL_VERSION, estimate_many
from server.science.recipe import LayerRecipe, Room
from server.science.results import LayerEstimate, Stage, StageRange
from server.services.kept import Kept

# An estimate takes some four kilobytes; 1,000 panels of six layers and their outlooks need some 9,000 a day.
CAPACITY = 16_000


@dataclass(frozen=True, slots=True)
class NoForecast:
    """The recipe cannot be estimated; ``message`` says why in plain words."""

    message: str


Forecast = LayerEstimate | NoForecast


@dataclass(frozen=True, slots=True)
class Question:
    """One layer in one room. ``key`` stands for its content and is cheap; ``make`` builds it when it is not kept."""

    key: Hashable
    make: Callable[[], tuple[LayerRecipe, Room]]


class Forecasts:
    """Asks the model, and keeps its answers."""

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._kept: Kept[Forecast] = Kept(capacity)

    def __len__(self) -> int:
        return len(self._kept)

    def of(self, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[Forecast]:
        """The estimates of ``pairs``, in their order, keyed by their content."""
        return self.ask([Question(pair, partial(_itself, pair)) for pair in pairs])

    def ask(self, questions: Sequence[Question]) -> list[Forecast]:
        """The estimates of ``questions``, in their order; all that are not kept in one call of the model."""
        found = self._kept.among(question.key for question in questions)
        missing = {question.key: question for question in questions if question.key not in found}
        if missing:
            answers = dict(zip(missing, _work_out([q.make() for q in missing.values()]), strict=True))
            found |= answers
            self._kept.keep(answers)
        return [found[question.key] for question in questions]


def _itself(pair: tuple[LayerRecipe, Room]) -> tuple[LayerRecipe, Room]:
    return pair


def _work_out(pairs: list[tuple[LayerRecipe, Room]]) -> list[Forecast]:
    try:
        return list(estimate_many(pairs))
    except InputError:
        # One recipe that makes no sense must not take the others with it.
        return [_alone(pair) for pair in pairs]


def _alone(pair: tuple[LayerRecipe, Room]) -> Forecast:
    try:
        return estimate_many([pair])[0]
    except InputError as error:
        return NoForecast(error.message)


FORECASTS = Forecasts()


def freeze(estimate: LayerEstimate) -> dict[str, Any]:
    """What was promised when a layer was painted, as plain JSON with the version of the model that promised it."""
    return {
        "model_version": MODEL_VERSION,
        "stages": stages_to_json(estimate.stages),
        "regions": [
            {
                "name": region.name,
                "area_share": region.area_share,
                "holds_up": region.holds_up,
                "stages": stages_to_json(region.stages),
            }
            for region in estimate.regions
        ],
    }


def stages_to_json(stages: Mapping[Stage, StageRange]) -> dict[str, dict[str, float]]:
    """Stage ranges by name, days after painting."""
    return {
        stage.value: {name: round(getattr(days, name), 4) for name in StageRange.__dataclass_fields__}
        for stage, days in stages.items()
    }


def stages_from_json(frozen: Mapping[str, Mapping[str, float]]) -> dict[Stage, StageRange]:
    """The inverse of `stages_to_json`."""
    return {Stage(name): StageRange(**days) for name, days in frozen.items()}
