"""Thickness: impasto, thin over thick, thick and rich, too many layers at once."""

import math

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, rule
from server.science.soundness.rules.saying import naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Severity
from server.science.soundness.words import amount, capital, percent


def _soft_layers(facts: Facts) -> tuple[LayerFacts, ...]:
    return tuple(layer for layer in facts.resting if not layer.through)


@rule(
    About(
        id="R06",
        title="Over a skinned impasto",
        looks_at="Thick layers below that are dry at the skin only, and how much of the area the new layer covers.",
        weighs=(Severity.NOTE, Severity.STOP),
        fault=Fault.SKINNED,
        basis=Basis.PUBLISHED,
        sources=("S4", "S31", "D"),
        evidence="well observed: thick paint skins over and stays soft inside, old authors say for years",
        why=(
            "Thick paint dries from the outside. Under the skin it stays soft for months and goes on shrinking, and "
            "a continuous film over it is pulled apart. Impasto belongs last."
        ),
        mix_matters=False,
    )
)
def SKINNED_IMPASTO(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None:
        return None
    soft = [layer for layer in _soft_layers(facts) if above(layer.wet_um, limits.impasto_um)]
    if not soft:
        return None
    slow = max(soft, key=_date)
    local = not above(upper.area_share, limits.local_area_share)
    where = "Local touches are usual, but they" if local else "A continuous layer over it"
    return Draft(
        Severity.NOTE if local else Severity.STOP,
        f"{capital(naming(slow, facts))} is {amount(slow.wet_um)} µm thick: dry at the skin, still soft inside. "
        f"{where} may wrinkle or crack as the core shrinks. {when(slow, Stage.DRY_THROUGH)}",
        not_before_d=_date(slow),
        advice="Another time put the impasto last.",
    )


def _date(layer: LayerFacts) -> float:
    return layer.through_date


@rule(
    About(
        id="R07",
        title="Thin over thick",
        looks_at="The thickness of the new layer against that of layers below that are not dry through.",
        weighs=(Severity.CAUTION,),
        fault=Fault.SKINNED,
        basis=Basis.COMMON_PRACTICE,
        sources=("CP", "S1"),
        evidence="studio practice, no measurement found",
        why="A thin skin rides on a thick bed that still moves, and gives way first. Thick goes over thin.",
        dispute="Some conservators see nothing in the slogan by itself: what counts is how stiff each film is.",
    )
)
def THIN_OVER_THICK(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying:
        return None
    thick = [
        layer
        for layer in _soft_layers(facts)
        if above(layer.wet_um, limits.thick_lower_um) and above(layer.wet_um, limits.thick_lower_ratio * upper.wet_um)
    ]
    if not thick:
        return None
    slow = max(thick, key=_date)
    return Draft(
        Severity.CAUTION,
        f"A film of {amount(upper.wet_um)} µm over {amount(slow.wet_um)} µm that is not yet dry through: the thin "
        f"skin rides on a bed that still moves. {when(slow, Stage.DRY_THROUGH)}",
        wet_um=max(layer.wet_um for layer in thick) / limits.thick_lower_ratio if facts.mix_is_all else None,
        not_before_d=_date(slow),
        advice="Or scrape the layer below down first.",
    )


@rule(
    About(
        id="R09",
        title="Rich and thick",
        looks_at="The wet thickness of the new layer, with its added binder and drier.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.WRINKLES,
        basis=Basis.PUBLISHED,
        sources=("S43", "S27", "D"),
        evidence="a coat too thick wrinkled in measurements on resin paint; old handbooks keep rich colours thin",
        why=(
            "A rich film, or one with drier, skins over while it is liquid inside. The skin goes on growing, has "
            "nowhere to go, and folds."
        ),
    )
)
def RICH_AND_THICK(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not above(upper.wet_um, limits.rich_thick_um):
        return None
    rich = above(upper.max_added_share, limits.rich_thick_medium)
    if not rich and not upper.drier:
        return None
    what = f"{percent(upper.max_added_share)} added medium" if rich else "drier in it"
    coats = None if facts.merged else math.ceil(upper.wet_um / limits.coat_um - 1e-9)
    return Draft(
        Severity.STOP if above(upper.wet_um, limits.rich_thick_stop_um) else Severity.CAUTION,
        f"The film is {amount(upper.wet_um)} µm thick with {what}. Its skin closes over liquid paint and may wrinkle.",
        coats=coats,
        advice=f"Keep rich films to about {amount(limits.coat_um)} µm a coat.",
    )


@rule(
    About(
        id="R38",
        title="Many layers at once",
        looks_at="How many layers lie over one that is not dry through.",
        weighs=(Severity.NOTE,),
        fault=Fault.SHUT_IN,
        basis=Basis.PUBLISHED,
        sources=("S3", "D"),
        evidence="conservators: covering a layer slows its drying; the number is our own choice",
        why="Every layer keeps air from those below. Several in a row bury the first one while it is still soft.",
        mix_matters=False,
        opens=True,
    )
)
def MANY_PENDING(facts: Facts, limits: Thresholds) -> Draft | None:
    below = facts.layers[:-1] if facts.merged else facts.layers
    top = facts.lower
    if top is None or not top.drying:
        return None
    first = next((layer for layer in below if layer.drying and not layer.through), None)
    if first is None or len(below) - first.place + 1 < limits.pending_layers:
        return None
    pending = [layer for layer in below[first.place :] if layer.drying]
    fattest = max(pending, key=lambda layer: layer.richest.richness if layer.richest else 0.0)
    rest_d = fattest.time(Stage.DRY_TO_TOUCH, "p90_d")
    if facts.ages.reached(top.age_d, rest_d) and top.at_least(FilmState.TOUCH_DRY):
        return None
    return Draft(
        Severity.NOTE,
        f"This would be layer {len(below) - first.place + 1} on top of one that is not yet dry through. Each cover "
        f"slows those below; put a rest in. {when(first, Stage.DRY_THROUGH)}",
        not_before_d=max(rest_d, top.dry_at(FilmState.TOUCH_DRY)),
    )
