"""Short ways to say a situation. Times are days; the stages given stand for what the drying model returns."""

from dataclasses import replace

from server.science.recipe import Addition, AdditionKind, Ground, LayerRecipe, MixRecipe, Paint, PigmentShare
from server.science.results import Stage, StageRange
from server.science.soundness import (
    Action,
    Finding,
    GroundFacts,
    Material,
    NewLayer,
    PaintedLayer,
    Severity,
    Situation,
    Verdict,
    check,
)

SPREAD = 1.6
ORDER = list(Severity)

Stages = dict[Stage, StageRange]


def about(middle: float, spread: float = SPREAD) -> StageRange:
    """A range around a central value."""
    return StageRange(middle / spread / 1.1, middle / spread, middle, middle * spread, middle * spread * 1.1)


def times(touch: float, through: float | None = None, spread: float = SPREAD) -> Stages:
    """The stages of a film from its central dry-to-touch and dry-through."""
    through = 3.0 * touch if through is None else through
    return {
        Stage.SET_TO_TOUCH: about(0.7 * touch, spread),
        Stage.DRY_TO_TOUCH: about(touch, spread),
        Stage.DRY_TO_RECOAT: about(1.7 * touch, spread),
        Stage.DRY_THROUGH: about(through, spread),
        Stage.FINAL_VARNISH: about(60.0 + 4.0 * through, spread),
    }


def oil(parts: float, name: str = "linseed") -> Addition:
    return Addition(AdditionKind.OIL, parts=parts, oil=name)


def solvent(parts: float) -> Addition:
    return Addition(AdditionKind.SOLVENT, parts=parts, solvent="mineral_spirits")


def more(kind: AdditionKind, parts: float) -> Addition:
    return Addition(kind, parts=parts)


def tube(name: str = "PW6", parts: float = 10.0, variant: str | None = None, binder: str = "linseed") -> Paint:
    return Paint(parts, binder, (PigmentShare(name, variant),))


def mix(*additions: Addition, paint: Paint | None = None, name: str = "mix", area: float = 1.0) -> MixRecipe:
    return MixRecipe(name, area, (paint or tube(),), additions)


def umber(parts: float = 10.0) -> Paint:
    return tube("PBr7", parts, "raw umber")


def layer(*mixes: MixRecipe, um: float = 40.0) -> LayerRecipe:
    return LayerRecipe(um, Ground.PAINT, mixes or (mix(),))


def there(
    recipe: LayerRecipe | None = None, age_d: float = 10.0, stages: Stages | None = None, **more_fields: object
) -> PaintedLayer:
    material = more_fields.pop("material", Material.OIL)
    known = layer() if recipe is None and material in (Material.OIL, Material.ALKYD) else recipe
    return PaintedLayer(material, age_d, times(4.0) if stages is None else stages, known, **more_fields)  # type: ignore[arg-type]


def coming(recipe: LayerRecipe | None = None, stages: Stages | None = None, **more_fields: object) -> NewLayer:
    material = more_fields.pop("material", Material.OIL)
    return NewLayer(material, times(4.0) if stages is None else stages, recipe or layer(), **more_fields)  # type: ignore[arg-type]


def ask(
    stack: tuple[PaintedLayer, ...] | list[PaintedLayer] = (),
    upper: NewLayer | None = None,
    action: Action = Action.NEXT_LAYER,
    **more_fields: object,
) -> Situation:
    ground = more_fields.pop("ground", GroundFacts("acrylic", 60.0, "matte"))
    support = more_fields.pop("support", "rigid")
    return Situation(support, ground, tuple(stack), upper, action, **more_fields)  # type: ignore[arg-type]


def found(verdict: Verdict, rule: str) -> Finding | None:
    return next((finding for finding in verdict.findings if finding.rule == rule), None)


def severity(situation: Situation, rule: str) -> Severity:
    """What one rule says of a situation."""
    finding = found(check(situation), rule)
    return Severity.SOUND if finding is None else finding.severity


def rules_of(verdict: Verdict) -> list[str]:
    return [finding.rule for finding in verdict.findings]


def aged(situation: Situation, age_d: float) -> Situation:
    """The situation with the top layer that old and the layers below older by as much as they were."""
    top = situation.stack[-1]
    stack = tuple(replace(item, age_d=item.age_d + age_d - top.age_d) for item in situation.stack)
    return replace(situation, stack=stack)


TOUCH_DRY_D = 8.0
"""Between touch-dry nine times in ten (6.4) and dry through (19.2) for ``times(4.0)``."""
THROUGH_D = 30.0
TACKY_D = 4.5
WET_D = 1.0
