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
from server.services.learning import Asked, Taught, applied

# An estimate takes some four kilobytes; 1,000 panels of six layers and their outlooks need some 9,000 a day.
CAPACITY = 24_000
TAUGHT = (
    16_000  # of those that touch tests moved: each test makes others of a studio's, so they do not push out the book's
)


@dataclass(frozen=True, slots=True)
class NoForecast:
    """The recipe cannot be estimated; ``message`` says why in plain words."""

    message: str


Forecast = LayerEstimate | NoForecast


@dataclass(frozen=True, slots=True)
class Question:
    """One layer in one room. ``content`` stands for both and is cheap; ``make`` builds them when they are not kept.

    ``taught`` moves the book's answer; None asks the book.
    """

    content: Hashable
    make: Callable[[], tuple[LayerRecipe, Room]]
    taught: Taught | None = None

    @property
    def key(self) -> Hashable:
        """Stands for everything the answer depends on."""
        learned = None if self.taught is None else self.taught.key
        return self.content if learned is None else ("taught", self.content, learned)


class Forecasts:
    """Asks the model, and keeps its answers."""

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._kept: Kept[Forecast] = Kept(capacity)  # the book's
        self._taught: Kept[Forecast] = Kept(min(capacity, TAUGHT))

    def __len__(self) -> int:
        return len(self._kept) + len(self._taught)

    def of(self, pairs: Sequence[tuple[LayerRecipe, Room]]) -> list[Forecast]:
        """The estimates of ``pairs``, in their order, keyed by their content."""
        return self.ask([question_of(pair) for pair in pairs])

    def ask(self, questions: Sequence[Question]) -> list[Forecast]:
        """The estimates of ``questions``, in their order; all that are not kept in one call of the model.

        This is the one place where what touch tests taught moves a date.
        """
        keys = [question.key for question in questions]
        found = self._kept.among(keys) | self._taught.among(keys)
        missing = {key: question for key, question in zip(keys, questions, strict=True) if key not in found}
        if missing:
            book = self._book({question.content: question for question in missing.values()})
            answers = _taught(missing, book)
            self._taught.keep({key: answer for key, answer in answers.items() if key != missing[key].content})
            found |= answers
        return [found[key] for key in keys]

    def one(self, question: Question) -> Forecast:
        """The estimate of one question."""
        key = question.key
        found = (self._kept if key is question.content else self._taught).get(key)
        return self.ask([question])[0] if found is None else found

    def _book(self, questions: Mapping[Hashable, Question]) -> dict[Hashable, Forecast]:
        """What the book says, by the questions' contents."""
        found = self._kept.among(questions)
        missing = {content: question for content, question in questions.items() if content not in found}
        if missing:
            answers = dict(zip(missing, _work_out([q.make() for q in missing.values()]), strict=True))
            found |= answers
            self._kept.keep(answers)
        return found


def _taught(questions: Mapping[Hashable, Question], book: Mapping[Hashable, Forecast]) -> dict[Hashable, Forecast]:
    """The book's answers, moved by what was learned where something was."""
    answers = {key: book[question.content] for key, question in questions.items()}
    asked: dict[Hashable, Asked] = {}
    for key, question in questions.items():
        answer, taught = answers[key], question.taught
        if taught is not None and taught.key is not None and isinstance(answer, LayerEstimate):
            asked[key] = Asked(taught, answer, question.content, question.make)
    return answers | dict(zip(asked, applied(list(asked.values())), strict=True))


def question_of(pair: tuple[LayerRecipe, Room], taught: Taught | None = None) -> Question:
    """A question by its content. Of a room with many steps only a fingerprint is kept with the answer."""
    recipe, room = pair
    steps: Hashable = room.steps if isinstance(room.steps, tuple) else room.steps.fingerprint
    key = (recipe, steps, room.light, room.light_is_number, room.measured)
    return Question(key, partial(_itself, pair), taught)


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


def freeze(estimate: LayerEstimate, book: LayerEstimate, promise: Mapping[str, Any]) -> dict[str, Any]:
    """What was promised when a layer was painted, as plain JSON with the version of the model that promised it.

    ``book``: what the model alone said; ``promise``: on the clock of the reference room, for scoring.
    """
    return {
        "model_version": MODEL_VERSION,
        "stages": stages_to_json(estimate.stages),
        "book": stages_to_json(book.stages),
        "learned": dict(promise),
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
