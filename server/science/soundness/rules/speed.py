"""Which layer dries faster: quick paint over slow paint, alkyd and oil."""

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, Topic, rule, weight
from server.science.soundness.rules.saying import naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Severity
from server.science.soundness.words import days


def speed_severity(upper: LayerFacts, lower: LayerFacts, limits: Thresholds) -> Severity:
    """How much a quick layer over a slow one weighs; sound when the lower one is dry through."""
    upper_d, lower_d = upper.book_touch_d, lower.book_touch_d
    if upper_d <= 0.0 or lower.through or not below(upper_d, limits.speed_caution_ratio * lower_d):
        return Severity.SOUND
    rich = lower.richest is not None and above(lower.richest.richness, limits.speed_rich)
    heavy = rich or above(lower.wet_um, limits.speed_thick_um)
    much = below(upper_d, limits.speed_stop_ratio * lower_d)
    return Severity.STOP if heavy or much else Severity.CAUTION


@rule(
    About(
        id="R02",
        title="Quick over slow",
        looks_at=(
            "The new layer's time to touch-dry against that of every layer below that is not yet dry through, and how "
            "thick and rich that one is."
        ),
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.QUICK_OVER_SLOW,
        basis=Basis.PUBLISHED,
        sources=("S27", "S26", "S3", "D"),
        evidence="the classical drying crack, described for two centuries; the ratios are our own choice",
        why=(
            "A layer that hardens before the one below has finished shrinking is torn apart by it. Umber, lead, "
            "cobalt, driers and alkyd are quick; blacks, cadmiums and lakes are slow."
        ),
    )
)
def SPEED_ORDER(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying:
        return None
    weighed = [(speed_severity(upper, layer, limits), layer) for layer in facts.resting]
    worst = max((severity for severity, _ in weighed), key=weight, default=Severity.SOUND)
    if worst is Severity.SOUND:
        return None
    alike = [layer for severity, layer in weighed if severity is worst]
    slow = max(alike, key=lambda layer: layer.through_date)
    reason = (
        f"The new layer dries faster (touch-dry in about {days(upper.book_touch_d)}) than "
        f"{naming(slow, facts)} (about {days(slow.book_touch_d)}), which is not yet dry through. Quick "
        f"over slow raises the risk of drying cracks. {when(slow, Stage.DRY_THROUGH)}"
    )
    return Draft(
        worst,
        reason,
        not_before_d=slow.through_date,
        advice=(
            "Or slow the new layer: no drier, no alkyd, less of the quick pigments. Another time put the quick layer "
            "first, or quicken the lower one."
        ),
    )


@rule(
    About(
        id="R16",
        title="Oil over alkyd",
        looks_at="Oil that goes onto an alkyd film which dried glossy.",
        weighs=(Severity.NOTE,),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S5",),
        evidence="advice of conservators",
        why=(
            "Slow oil over quick alkyd is the right order; only a glossy alkyd film gives the oil little to hold on to."
        ),
        only_about=Topic.ALKYD,
    )
)
def OIL_OVER_ALKYD(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not below(upper.alkyd_share, limits.alkyd_present_share):
        return None
    glossy = [
        layer
        for layer in facts.touched
        if layer.surface == "gloss"
        and not below(layer.alkyd_share, limits.alkyd_present_share)
        and layer.at_least(FilmState.TOUCH_DRY)
    ]
    if not glossy:
        return None
    return Draft(
        Severity.NOTE,
        "Oil over alkyd is the right order, but this alkyd film is glossy and gives the new paint little to hold on "
        "to.",
        advice="Take the gloss off lightly, wet, and wipe the surface clean before painting.",
    )
