"""What makes a layer quick or slow: alkyd, driers, slow pigments, slow oils."""

from server.science.recipe import AdditionKind
from server.science.results import Stage
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.pigments import lead_or_manganese, slow
from server.science.soundness.rule import About, Draft, Fault, Topic, rule, weight
from server.science.soundness.rules.saying import naming, when
from server.science.soundness.rules.speed import speed_severity
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.topics import SLOW_OILS
from server.science.soundness.types import Basis, Severity
from server.science.soundness.words import capital

MOSTLY = 0.5


def _date(layer: LayerFacts) -> float:
    return layer.through_date


@rule(
    About(
        id="R15",
        title="Alkyd over slow oil",
        looks_at="The alkyd in the new layer against that in layers below that are not dry through.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.QUICK_OVER_SLOW,
        basis=Basis.PUBLISHED,
        sources=("S5", "S3"),
        evidence="advice of conservators, who call the place of alkyd in a stack a conundrum",
        why=(
            "Alkyd hardens within a day into a stiff film. Over oil that still shrinks it is quick over slow and "
            "stiff over soft at once. In every layer alike it does no such harm."
        ),
        only_about=Topic.ALKYD,
    )
)
def ALKYD_OVER_OIL(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or below(upper.alkyd_share, limits.alkyd_present_share):
        return None
    soft = [
        layer
        for layer in facts.resting
        if above(upper.alkyd_share - layer.alkyd_share, limits.alkyd_similar_share) and not layer.through
    ]
    if not soft:
        return None
    worst = max((speed_severity(upper, layer, limits) for layer in soft), key=weight)
    last = max(soft, key=_date)
    return Draft(
        max(worst, Severity.CAUTION, key=weight),
        f"The new layer holds alkyd and dries stiff within a day or so; {naming(last, facts)} is oil that is not yet "
        f"dry through. {when(last, Stage.DRY_THROUGH)}",
        by_mix=facts.leaving_out(AdditionKind.ALKYD_MEDIUM),
        not_before_d=_date(last),
        advice="Another time put the same share of alkyd into every layer.",
    )


@rule(
    About(
        id="R17",
        title="Drier on top",
        looks_at="Drier in the new layer, over layers without any that are not dry through.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.QUICK_OVER_SLOW,
        basis=Basis.PUBLISHED,
        sources=("S3", "D"),
        evidence="advice of conservators",
        why="Drier makes the upper film skin and harden before the lower one, which is the wrong way round.",
        only_about=Topic.DRIER,
    )
)
def DRIER_ON_TOP(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drier:
        return None
    soft = [layer for layer in facts.resting if not layer.drier and not layer.through]
    if not soft:
        return None
    heavy = any(
        above(layer.wet_um, limits.drier_thick_um)
        or (layer.richest is not None and above(layer.richest.richness, limits.drier_rich))
        for layer in soft
    )
    last = max(soft, key=_date)
    return Draft(
        Severity.STOP if heavy else Severity.CAUTION,
        f"The new layer has drier in it and {naming(last, facts)} has none and is not yet dry through. Driers on top "
        f"raise the risk of drying cracks. {when(last, Stage.DRY_THROUGH)}",
        by_mix=facts.leaving_out(AdditionKind.DRIER),
        not_before_d=max(_date(layer) for layer in soft),
    )


@rule(
    About(
        id="R26",
        title="Slow colour below",
        looks_at="The share of slow pigments in layers below that are not dry through, and how thick they are.",
        weighs=(Severity.NOTE,),
        fault=Fault.DRYING_CRACKS,
        basis=Basis.PUBLISHED,
        sources=("S31", "S30", "M"),
        evidence=(
            "old authors found lamp black soft under its skin after a year; the list of slow colours is partly from "
            "memory"
        ),
        why=(
            "Blacks, cadmiums, vermilion and lakes are slow. A continuous layer of them low in the picture stays "
            "soft long after its surface feels dry."
        ),
        mix_matters=False,
        only_about=Topic.SLOW_PIGMENT,
    )
)
def SLOW_COLOUR_BELOW(facts: Facts, limits: Thresholds) -> Draft | None:
    soft = [layer for layer in facts.resting if not layer.through and _is_slow(layer, limits)]
    if not soft:
        return None
    last = max(soft, key=_date)
    return Draft(
        Severity.NOTE,
        f"{capital(naming(last, facts))} is mainly slow colour and stays soft below its skin for long. "
        f"{when(last, Stage.DRY_THROUGH)}",
        not_before_d=_date(last),
        advice="Another time put a tenth to a fifth of umber into such a black, or lay it thin.",
    )


def _is_slow(layer: LayerFacts, limits: Thresholds) -> bool:
    """Whether slow colours prevail in a mix that covers more than a few touches, in a film of some thickness."""
    if not above(layer.wet_um, limits.slow_layer_um):
        return False
    names = slow()
    broad = [mix.pigments for mix in layer.mixes if above(mix.area_share, limits.local_area_share)]
    return any(above(sum(s for k, s in shares.items() if k in names), limits.slow_pigment_share) for shares in broad)


@rule(
    About(
        id="R29",
        title="Slow oil below",
        looks_at=(
            "Layers below in poppy, safflower or walnut oil that are not dry through, under linseed or quick pigments."
        ),
        weighs=(Severity.NOTE,),
        fault=Fault.DRYING_CRACKS,
        basis=Basis.FROM_MEMORY,
        sources=("M",),
        evidence="from memory, not checked",
        why="Poppy, safflower and walnut oil dry more slowly and to a weaker film than linseed; they belong on top.",
        only_about=Topic.SLOW_OIL,
    )
)
def SLOW_OIL_BELOW(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    upper = facts.upper
    if upper is None or not upper.drying:
        return None
    linseed = any("linseed" in name and share > MOSTLY for mix in upper.mixes for name, share in mix.oils.items())
    if not linseed and upper.pigment_share(lead_or_manganese()) <= 0.0:
        return None
    soft = [layer for layer in facts.resting if not layer.through and _is_weak(layer)]
    if not soft:
        return None
    last = max(soft, key=_date)
    return Draft(
        Severity.NOTE,
        f"{capital(naming(last, facts))} is bound in a slow oil and the new layer dries faster by nature; whether it "
        f"is too fast, the order of speed decides. {when(last, Stage.DRY_THROUGH)}",
        not_before_d=_date(last),
        advice="Keep poppy, safflower and walnut oil for the upper layers.",
    )


def _is_weak(layer: LayerFacts) -> bool:
    return any(sum(s for name, s in mix.oils.items() if name in SLOW_OILS) > MOSTLY for mix in layer.mixes)
