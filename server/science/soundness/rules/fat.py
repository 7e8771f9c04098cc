"""How much oil: the order of richness and the limit of medium."""

from operator import itemgetter

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.mixes import MixFacts
from server.science.soundness.rule import About, Draft, Fault, lighter, rule, weight
from server.science.soundness.rules.saying import in_mix, naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, MixChange, Severity
from server.science.soundness.words import amount, percent, richness


@rule(
    About(
        id="R01",
        title="Leaner over richer",
        looks_at=(
            "The richness of the leanest part of the new layer against the richest part of every layer below that has "
            "drying ahead of it."
        ),
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.DRYING_CRACKS,
        basis=Basis.PUBLISHED,
        sources=("S30", "S3", "S2", "D"),
        evidence="cracking of lean over rich is well observed; no measured limit in oil or days was found",
        why=(
            "A film rich in oil goes on shrinking and moving long after its skin is dry. A leaner, stiffer film on "
            "top cannot follow and tears into islands. What counts is the order while the lower film still moves, "
            "not the colour's own oil."
        ),
        dispute=(
            "Some conservators would drop the slogan and speak of pigment volume instead: too much and too little "
            "binder are both faults. What stays is that upper layers should be no stiffer than lower ones, and that "
            "deviations be kept small."
        ),
    )
)
def FAT_ORDER(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or upper.leanest is None:
        return None
    gaps = [
        (layer, layer.richest.richness - upper.leanest.richness) for layer in facts.resting if layer.richest is not None
    ]
    weighed = [(_gap_severity(gap, layer, limits), gap, layer) for layer, gap in gaps]
    worst = max((severity for severity, _, _ in weighed), key=weight, default=Severity.SOUND)
    if worst is Severity.SOUND:
        return None
    alike = [(gap, layer) for severity, gap, layer in weighed if severity is worst]
    return _fat_draft(facts, limits, (worst, max(alike, key=itemgetter(0))[1], [layer for _, layer in alike]))


def _gap_severity(gap: float, lower: LayerFacts, limits: Thresholds) -> Severity:
    if not above(gap, limits.fat_gap_pass):
        return Severity.SOUND
    severity = Severity.CAUTION if above(gap, limits.fat_gap_stop) else Severity.NOTE
    if not lower.through:
        severity = Severity.STOP if severity is Severity.CAUTION else Severity.CAUTION
    # A leaner scumble over a thin wiped glaze is normal practice once the glaze is touch-dry.
    if not above(lower.wet_um, limits.thin_film_um) and lower.at_least(FilmState.TOUCH_DRY):
        severity = lighter(severity)
    return severity


def _fat_draft(facts: Facts, limits: Thresholds, found: tuple[Severity, LayerFacts, list[LayerFacts]]) -> Draft:
    """The finding about the richest of the layers that weigh most; the date waits for all of these."""
    severity, lower, alike = found
    upper = facts.upper
    assert upper is not None and upper.leanest is not None and lower.richest is not None
    moving = "" if lower.through else " and it is not yet dry through"
    reason = (
        f"The new layer is leaner than {naming(lower, facts)} with a richness of "
        f"{richness(upper.leanest.richness)}{in_mix(upper.leanest, upper)} over "
        f"{richness(lower.richest.richness)}{in_mix(lower.richest, lower)} (tube paint is 1.00){moving}. A lean film "
        "over a richer one that still moves raises the risk of drying cracks."
    )
    if not lower.through:
        reason += " " + when(lower, Stage.DRY_THROUGH)
    target = lower.richest.richness
    by_mix: tuple[MixChange, ...] = ()
    if target != float("inf") and not facts.merged:
        by_mix = tuple(
            mix.change(facts.situation.paint_ml, oil=mix.oil_to_gain(target - mix.richness))
            for mix in upper.mixes
            if above(target - mix.richness, limits.fat_gap_pass)
        )
    # Waiting helps only where each of the layers that weigh most has drying ahead of it.
    waits = all(not layer.through for layer in alike)
    not_before = max(layer.through_date for layer in alike) if waits else None
    return Draft(severity, reason, by_mix=by_mix, not_before_d=not_before)


@rule(
    About(
        id="R08",
        title="Too much medium",
        looks_at="The share of added binder in paint and medium together, and whether the film is wiped thin.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.WRINKLES,
        basis=Basis.COMMON_PRACTICE,
        sources=("S6", "CP", "D"),
        evidence=(
            "yellowing and wrinkling from surplus oil are well observed; a fifth to a quarter is a custom, not a "
            "measurement"
        ),
        why=(
            "Oil beyond what the pigment needs rises to the surface, yellows and wrinkles, and leaves a weak skin. "
            "In a film wiped down to almost nothing there is too little of it to do that."
        ),
        dispute="Conservators refuse a single number: it depends on the medium and the thickness.",
    )
)
def EXCESS_MEDIUM(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not above(upper.max_added_share, limits.medium_pass):
        return None
    most = upper.max_added_share
    thin = not above(upper.wet_um, limits.thin_film_um)
    if thin or not above(most, limits.medium_note):
        severity = Severity.NOTE
    else:
        severity = Severity.STOP if above(most, limits.medium_caution) else Severity.CAUTION
    worst = max(upper.mixes, key=lambda mix: mix.added_share)
    reason = (
        f"Added medium is {percent(most)} of paint and medium together{in_mix(worst, upper)}; up to "
        f"{percent(limits.medium_pass)} is ordinary."
    )
    if thin:
        reason += f" In a film wiped to {amount(upper.wet_um)} µm that is normal for a glaze; keep it that thin."
        return Draft(severity, reason)
    reason += " Surplus oil raises the risk of yellowing, wrinkling and a weak skin."
    if not facts.mix_is_all:
        return Draft(severity, reason)
    rich = [mix for mix in upper.mixes if above(mix.added_share, limits.medium_pass)]
    by_mix = tuple(mix.change(facts.situation.paint_ml, paint=_paint_parts(mix, limits)) for mix in rich)
    bare = any(mix.paint <= 0.0 for mix in upper.mixes)
    wiped_um = None if severity is Severity.NOTE else limits.thin_film_um  # a wiped film is a note as well
    return Draft(severity, reason, by_mix=() if bare else by_mix, wet_um=wiped_um)


def _paint_parts(mix: MixFacts, limits: Thresholds) -> float:
    """P' = B (1/M_cap - 1) - P."""
    return mix.binder * (1.0 / limits.medium_pass - 1.0) - mix.paint
