"""What the rules say of a panel's next layer at an instant.

Ages change a verdict only now and then, and the rules say for how long an answer stands; it is kept that long. A
question's key holds everything the answer depends on except the instant.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from server.science.recipe import LayerRecipe
from server.science.results import FilmState, Stage, StageRange
from server.science.soundness import Thresholds, check, is_stopped
from server.science.soundness.types import (
    Action,
    GroundFacts,
    Material,
    NewLayer,
    PaintedLayer,
    Situation,
    SwabTest,
    Verdict,
)
from server.services.give_way import give_way
from server.services.kept import Content, Kept
from server.services.rule_limits import NO_EDITS, Edits, thresholds_of

CAPACITY = 6000
SECONDS_PER_DAY = 86400.0
LONGEST_D = 3650.0  # a verdict that never changes is asked for again after ten years

# The films that the drying model and the rules on drying speak of.
DRYING = frozenset({Material.OIL, Material.ALKYD})


@dataclass(frozen=True, slots=True)
class LaidLayer:
    """A layer that is on the panel. ``stages`` are the model's; ``observed`` at ``observed_at`` is the last touch test.

    ``key`` stands for the content of ``recipe``, ``stages`` and the test; without a forecast ``stages`` is empty.
    """

    key: Hashable
    material: Material
    painted_at: datetime
    stages: dict[Stage, StageRange]
    recipe: LayerRecipe | None
    surface: str | None = None
    observed: FilmState | None = None
    observed_at: datetime | None = None

    def age_d(self, at: datetime) -> float:
        return (at - self.painted_at).total_seconds() / SECONDS_PER_DAY

    @property
    def observed_age_d(self) -> float | None:
        return None if self.observed_at is None else max(0.0, self.age_d(self.observed_at))


@dataclass(frozen=True, slots=True)
class Ground:
    """The panel below its paint: support (rigid or stretched) and ground."""

    support: str
    kind: str
    surface: str
    laid_on: date | None = None
    pigment: str | None = None

    def facts(self, on: date) -> GroundFacts:
        age_d = None if self.laid_on is None else float(max(0, (on - self.laid_on).days))
        return GroundFacts(self.kind, age_d, self.surface, (self.pigment,) if self.pigment else ())


@dataclass(frozen=True, slots=True)
class Coming:
    """The layer about to go on. ``key`` stands for the content of ``recipe`` and ``stages``."""

    key: Hashable
    material: Material
    stages: dict[Stage, StageRange]
    recipe: LayerRecipe
    same_session: bool = False


@dataclass(frozen=True, slots=True)
class AfterPaint:
    """What is asked of a picture that is to be varnished, framed or sent: its size, the temperature on the way, and
    the last swab, clean or not."""

    area_cm2: float
    transit_c: float | None = None
    swab_clean: bool | None = None
    swab_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """May ``coming`` go over ``stack`` (lowest first) on ``ground``, by the rules with the studio's ``limits``?

    Without a layer to come it is asked of the picture itself (``action``), and ``after`` says the rest. ``finished``:
    the painter calls the picture that it goes over finished.
    """

    ground: Ground
    stack: tuple[LaidLayer, ...]
    coming: Coming | None
    action: Action = Action.NEXT_LAYER
    drops_per_ml: int = 20
    limits: Edits = NO_EDITS
    after: AfterPaint | None = None
    finished: bool = False

    def asking(self, action: Action) -> "Question":
        """The same question about another action."""
        return replace(self, action=action)

    def key(self) -> Hashable:
        laid = tuple((layer.key, layer.painted_at, layer.material, layer.surface) for layer in self.stack)
        coming = self.coming
        upper = None if coming is None else (coming.key, coming.material, coming.same_session)
        return self.ground, laid, upper, self.action, self.drops_per_ml, self.limits, self.after, self.finished


def situation(question: Question, at: datetime, on: date) -> Situation:
    """The question as the rules take it, at an instant that is ``on`` that day in the studio's zone."""
    coming, after = question.coming, question.after
    stack = tuple(
        PaintedLayer(
            laid.material,
            max(0.0, laid.age_d(at)),
            laid.stages,
            laid.recipe,
            laid.surface,
            laid.observed,
            laid.observed_age_d,
        )
        for laid in question.stack
    )
    return Situation(
        support=question.ground.support,
        ground=question.ground.facts(on),
        stack=stack,
        upper=NewLayer(coming.material, coming.stages, coming.recipe, coming.same_session) if coming else None,
        action=question.action,
        drops_per_ml=float(question.drops_per_ml),
        area_cm2=after.area_cm2 if after else None,
        transit_c=after.transit_c if after else None,
        swab=_swab(question),
        finished=question.finished,
    )


def _swab(question: Question) -> SwabTest | None:
    """The last swab, with the age of the top layer when it was made; one from before that layer went on is none."""
    after = question.after
    if after is None or after.swab_clean is None or after.swab_at is None or not question.stack:
        return None
    age_d = question.stack[-1].age_d(after.swab_at)
    return SwabTest(after.swab_clean, age_d) if age_d >= 0.0 else None


class Verdicts:
    """Asks the rules, and keeps each verdict with the span of time it stands for."""

    def __init__(self, capacity: int = CAPACITY, judge: Callable[[Situation, Thresholds], Verdict] = check) -> None:
        self._judge = judge
        self._kept: Kept[tuple[datetime, datetime, Verdict]] = Kept(capacity)

    def of(self, question: Question, at: datetime, on: date) -> Verdict:
        """The verdict at ``at``, which is ``on`` that day in the studio's zone."""
        give_way()
        key = Content((question.key(), on))
        kept = self._kept.get(key)
        if kept is not None and kept[0] <= at < kept[1]:
            return kept[2]
        verdict = self._judge(situation(question, at, on), thresholds_of(question.limits))
        until = at + timedelta(days=min(verdict.unchanged_for_d, LONGEST_D))
        self._kept.keep({key: (at, until, verdict)})
        return verdict

    def stop(self, question: Question, at: datetime, on: date) -> Verdict | None:
        """The verdict where a rule stops it, else None. Not kept: whoever asks keeps what is made of it."""
        found, limits = situation(question, at, on), thresholds_of(question.limits)
        return self._judge(found, limits) if is_stopped(found, limits) else None


VERDICTS = Verdicts()
