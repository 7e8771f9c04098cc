"""How much solvent, and onto what."""

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, rule
from server.science.soundness.rules.saying import in_mix, naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.topics import SLICK
from server.science.soundness.types import Basis, MixChange, Severity
from server.science.soundness.words import percent

IN_MEDIUM = "Part of the solvent is in the medium: take less of that."


def less_solvent(upper: LayerFacts, facts: Facts, target: float) -> tuple[MixChange, ...]:
    """What to leave out of each mix to come down to a solvent share: y = V (S - target) / (1 - target).

    Empty where a mix would have to lose solvent that is inside its medium, or that is already on the panel.
    """
    changes = []
    for mix in upper.mixes:
        if not above(mix.solvent_share, target):
            continue
        parts = mix.volume * (mix.solvent_share - target) / (1.0 - target)
        if above(parts, mix.free_solvent):
            return ()
        changes.append(mix.change(facts.situation.paint_ml, solvent=parts))
    return tuple(changes) if facts.mix_is_all else ()


def oil_for_solvent(upper: LayerFacts, facts: Facts, limits: Thresholds) -> tuple[MixChange, ...]:
    """Oil in the place of solvent, up to the share of the paint that is allowed, and the rest of the solvent left out.

    Empty where solvent would have to come out of a medium, or where there is nothing to swap.
    """
    target, changes = limits.thinner_pass, []
    for mix in upper.mixes:
        if not above(mix.solvent_share, target):
            continue
        oil = min(limits.thinner_swap_oil * mix.paint, mix.solvent - target * mix.volume)
        rest = max(0.0, (mix.solvent - oil - target * mix.volume) / (1.0 - target))
        if oil <= 0.0 or above(oil + rest, mix.free_solvent):
            return ()
        changes.append(mix.change(facts.situation.paint_ml, oil=oil, solvent=oil + rest))
    return tuple(changes) if facts.mix_is_all else ()


@rule(
    About(
        id="R10",
        title="Too much thinner",
        looks_at="The share of solvent in the wet paint, and whether what it lies on takes any up.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.SUNKEN,
        basis=Basis.PUBLISHED,
        sources=("S7", "S26", "D"),
        evidence="under-binding by thinner is listed by conservators and old handbooks; the limits are our own choice",
        why=(
            "Solvent leaves, and with too much of it the little oil that is left spreads too thin, or drains into "
            "the ground, and the pigment is held badly: matt, powdery, weak."
        ),
    )
)
def EXCESS_THINNER(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not above(upper.max_solvent_share, limits.thinner_pass):
        return None
    # Bare gesso and other grounds that are not sealed take up a wash; paint and sealed grounds do not.
    takes_up = facts.on_ground and facts.situation.ground.surface not in SLICK
    high = above(upper.max_solvent_share, limits.thinner_high)
    if takes_up:
        severity = Severity.CAUTION if high else Severity.NOTE
    else:
        severity = Severity.STOP if high else Severity.CAUTION
    worst = max(upper.mixes, key=lambda mix: mix.solvent_share)
    below_it = "a ground that takes it up" if takes_up else "a surface that takes nothing up"
    reason = (
        f"Solvent is {percent(worst.solvent_share)} of the wet paint{in_mix(worst, upper)}, on {below_it}; up to "
        f"{percent(limits.thinner_pass)} is ordinary. A film so thinned may be left short of binder: matt, powdery, "
        "weak."
    )
    return Draft(
        severity,
        reason,
        by_mix=less_solvent(upper, facts, limits.thinner_pass),
        instead=oil_for_solvent(upper, facts, limits),
        advice="" if all(mix.free_solvent >= mix.solvent for mix in upper.mixes) else IN_MEDIUM,
    )


@rule(
    About(
        id="R11",
        title="Thinner on a young film",
        looks_at="The share of solvent in the new layer, over a film that is touch-dry but not dry through.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.WRINKLES,
        basis=Basis.PUBLISHED,
        sources=("S43", "S13", "D"),
        evidence=(
            "swelling and wrinkling by a second coat's solvent was measured on resin paint; lifting is reported by "
            "painters"
        ),
        why=(
            "Solvent soaks into a film that is dry only at its skin, swells it and may lift or wrinkle it. The older "
            "the film, the less it takes in."
        ),
    )
)
def SOLVENT_ON_YOUNG_FILM(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not above(upper.max_solvent_share, limits.young_solvent_caution):
        return None
    share = upper.max_solvent_share
    young = [
        layer for layer in facts.touched if layer.drying and layer.at_least(FilmState.TOUCH_DRY) and not layer.through
    ]
    if not young:
        return None
    last = max(young, key=lambda layer: layer.through_date)
    severity = Severity.STOP if above(share, limits.young_solvent_stop) else Severity.CAUTION
    return Draft(
        severity,
        f"Solvent is {percent(share)} of the new paint, and {naming(last, facts)} is dry to the touch only, not "
        f"through. The solvent may swell it, lift it or make it wrinkle. {when(last, Stage.DRY_THROUGH)}",
        by_mix=less_solvent(upper, facts, limits.young_solvent_target),
        not_before_d=last.through_date,
    )
