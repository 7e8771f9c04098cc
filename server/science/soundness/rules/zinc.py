"""Zinc oxide in oil: soaps, brittleness, peeling."""

from server.science.soundness.compare import below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.pigments import ZINC_OXIDE
from server.science.soundness.rule import About, Draft, Fault, Topic, rule
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Severity

LABEL = "Mixed whites often hold zinc: read the tube's label for PW4."


def zinc_share(layer: LayerFacts) -> float:
    return layer.pigment_share(ZINC_OXIDE) if layer.drying else 0.0


def ground_zinc_share(facts: Facts) -> float:
    """Zinc's share of an oil ground's pigments, taken as equal parts; zinc in acrylic does no harm."""
    ground = facts.situation.ground
    if ground.kind != "oil" or not ground.pigments:
        return 0.0
    return sum(1.0 for name in ground.pigments if name in ZINC_OXIDE) / len(ground.pigments)


@rule(
    About(
        id="R20",
        title="Zinc white below",
        looks_at="The share of zinc white in an oil ground or in a layer that is covered, and the support.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S46", "S47", "S48", "S10"),
        evidence="strong: several studies of pictures and samples",
        why=(
            "Zinc oxide makes soaps with the oil. They gather where layers meet, and the film turns very stiff and "
            "brittle; what lies on it peels and flakes years later."
        ),
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.ZINC,
    )
)
def ZINC_BELOW(facts: Facts, limits: Thresholds) -> Draft | None:
    covered = facts.layers[:-1] if facts.merged else facts.layers
    share = max([ground_zinc_share(facts), *(zinc_share(layer) for layer in covered)])
    if share <= 0.0:
        return None
    main = not below(share, limits.zinc_main_share)
    severity = Severity.STOP if main and facts.stretched else Severity.CAUTION
    where = "The ground or a layer below" if ground_zinc_share(facts) > 0.0 else "A layer below"
    how = "is mainly zinc white" if main else "holds zinc white"
    flexible = " A stretched canvas moves and makes it worse." if facts.stretched else ""
    return Draft(
        severity,
        f"{where} {how} in oil. Zinc soaps make it brittle, and what is painted on it may peel.{flexible}",
        advice=f"Use a white without zinc for layers that will be covered, and a rigid panel. {LABEL}",
    )


@rule(
    About(
        id="R21",
        title="Zinc white in oil",
        looks_at="Zinc white anywhere in oil, and the support.",
        weighs=(Severity.NOTE, Severity.CAUTION),
        fault=Fault.BRITTLE,
        basis=Basis.PUBLISHED,
        sources=("S10",),
        evidence="conservators know of no amount that is without effect; damage below 15 % is reported",
        why=(
            "Even a little zinc oxide in oil has been reported to turn films brittle. A rigid support asks less of "
            "them."
        ),
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.ZINC,
    )
)
def ZINC_ANYWHERE(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    above_it = (facts.upper,) if facts.upper is not None else ()
    if ground_zinc_share(facts) <= 0.0 and all(zinc_share(layer) <= 0.0 for layer in (*facts.layers, *above_it)):
        return None
    return Draft(
        Severity.CAUTION if facts.stretched else Severity.NOTE,
        "There is zinc white in oil in this picture. No amount is known to be without effect; it makes films brittle"
        + (", and a stretched canvas moves." if facts.stretched else "."),
        advice=f"Prefer titanium or another white without zinc. {LABEL}",
    )
