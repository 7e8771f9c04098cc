"""What the first layer lies on."""

from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts
from server.science.soundness.mixes import MixFacts
from server.science.soundness.pigments import STIFF_GROUND
from server.science.soundness.rule import About, Draft, Fault, Topic, rule
from server.science.soundness.rules.zinc import ground_zinc_share, zinc_share
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.topics import SLICK
from server.science.soundness.types import Basis, MixChange, Severity
from server.science.soundness.words import days, percent


@rule(
    About(
        id="R12",
        title="Thirsty ground",
        looks_at="The richness and the solvent of a first layer on an absorbent ground.",
        weighs=(Severity.NOTE,),
        fault=Fault.SUNKEN,
        basis=Basis.PUBLISHED,
        sources=("S7", "S11"),
        evidence="sinking on absorbent grounds is well described; how much oil is lost was never published",
        why="An absorbent ground drinks oil out of the first layer. What stays is short of binder, matt and sunken.",
        dispute="Painters see sinking on sealed panels too, so the ground is not the whole story.",
        only_about=Topic.ABSORBENT,
    )
)
def ABSORBENT_GROUND(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not facts.on_ground or facts.situation.ground.surface != "absorbent":
        return None
    changes = []
    possible = facts.mix_is_all
    for mix in upper.mixes:
        lean = below(mix.richness, limits.absorbent_richness)
        thin = above(mix.solvent_share, limits.absorbent_solvent)
        if not lean and not thin:
            continue
        change = _less_thirst(mix, facts, limits)
        possible = possible and change is not None
        changes.append(change)
    if not changes:
        return None
    return Draft(
        Severity.NOTE,
        f"The ground is absorbent and drinks oil: a first layer of richness under {limits.absorbent_richness:.2f} or "
        f"with more than {percent(limits.absorbent_solvent)} solvent may sink and turn matt.",
        by_mix=tuple(item for item in changes if item is not None) if possible else (),
        advice="Or seal the ground first: a thin coat of size, or of oil and thinner, left to dry.",
    )


def _less_thirst(mix: MixFacts, facts: Facts, limits: Thresholds) -> MixChange | None:
    """Oil up to the richness wanted and solvent down to the share allowed; None where the solvent is in the medium."""
    oil = max(0.0, mix.oil_to_gain(limits.absorbent_richness - mix.richness))
    most = limits.absorbent_solvent
    solvent = max(0.0, (mix.solvent - most * (mix.volume + oil)) / (1.0 - most))
    if above(solvent, mix.free_solvent):
        return None
    return mix.change(facts.situation.paint_ml, oil=oil, solvent=solvent)


@rule(
    About(
        id="R13",
        title="Slick ground",
        looks_at="The surface of the ground under a first layer, and how rich that layer is.",
        weighs=(Severity.CAUTION,),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S13", "S45"),
        evidence="rougher grounds held better in studies of samples, though roughness mattered less than zinc",
        why="Paint holds by gripping. A sealed or glossy ground has no tooth, and a rich first layer slides on it.",
        only_about=Topic.SLICK,
    )
)
def SLICK_GROUND(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or not facts.on_ground or facts.situation.ground.surface not in SLICK:
        return None
    rich = upper.richest is not None and above(upper.richest.richness, limits.sealed_richness)
    more = f" This one is richer than {limits.sealed_richness:.2f}." if rich else ""
    return Draft(
        Severity.CAUTION,
        "The ground is sealed or glossy and gives the first layer little to hold on to; that layer must not be "
        f"rich.{more}",
        advice=(
            "Roughen the ground lightly, wet, never dry where it may hold lead, and keep the first layer at a "
            f"richness of {limits.sealed_richness:.2f} or less."
        ),
    )


@rule(
    About(
        id="R25",
        title="Young oil ground",
        looks_at="The age of an oil ground under the first layer.",
        weighs=(Severity.NOTE, Severity.CAUTION),
        fault=Fault.DRYING_CRACKS,
        basis=Basis.PUBLISHED,
        sources=("S12",),
        evidence="advice of conservators: six to twelve months is better than a week or two",
        why="An oil ground is a thick layer of oil paint; painted over young, it is the soft bed under everything.",
        mix_matters=False,
        only_about=Topic.OIL_GROUND,
    )
)
def YOUNG_OIL_GROUND(facts: Facts, limits: Thresholds) -> Draft | None:
    ground = facts.situation.ground
    if not facts.on_ground or facts.merged or ground.kind != "oil" or ground.age_d is None:
        return None
    if not facts.ages.reached(ground.age_d, limits.oil_ground_caution_d):
        return Draft(
            Severity.CAUTION,
            f"The oil ground is younger than {days(limits.oil_ground_caution_d)} and still soft; half a year is "
            "better.",
            not_before_d=limits.oil_ground_caution_d,
        )
    if not facts.ages.reached(ground.age_d, limits.oil_ground_note_d):
        return Draft(
            Severity.NOTE,
            "The oil ground is still young: half a year to a year is better than a week or two.",
            not_before_d=limits.oil_ground_note_d,
        )
    return None


@rule(
    About(
        id="R22",
        title="Zinc on acrylic ground",
        looks_at="Zinc white in oil on an acrylic ground.",
        weighs=(Severity.CAUTION,),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S45",),
        evidence="samples eight and nine years old came off mainly through zinc soaps",
        why="Oil with zinc over acrylic grounds is a pairing seen to peel within a decade, worse on a slick ground.",
        mix_matters=False,
        only_about=Topic.ZINC,
    )
)
def ZINC_ON_ACRYLIC(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    ground = facts.situation.ground
    above_it = (*facts.layers, facts.upper) if facts.upper is not None else facts.layers
    if ground.kind != "acrylic" or all(zinc_share(layer) <= 0.0 for layer in above_it):
        return None
    slick = " This one is slick, which is worse." if ground.surface in SLICK else ""
    return Draft(
        Severity.CAUTION,
        f"Oil paint with zinc white on an acrylic ground has been seen to come off within years.{slick}",
        advice="Use whites without zinc, and a ground with tooth.",
    )


@rule(
    About(
        id="R32",
        title="Stiff below, canvas behind",
        looks_at="Stiff grounds and layers with zinc, on a stretched canvas.",
        weighs=(Severity.CAUTION,),
        fault=Fault.BRITTLE,
        basis=Basis.PUBLISHED,
        sources=("S40", "S14", "M"),
        evidence="shrinkage alone can exceed what old films bear; which grounds are stiff is partly from memory",
        why=(
            "A stretched canvas moves with the weather. A stiff layer on it does not, and cracks, and takes the rest "
            "along."
        ),
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.STRETCHED,
    )
)
def STIFF_ON_CANVAS(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    if not facts.stretched:
        return None
    ground = facts.situation.ground
    if ground.kind == "glue_chalk":
        what = "A ground of glue and chalk"
    elif ground_zinc_share(facts) > 0.0 or any(zinc_share(layer) > 0.0 for layer in facts.layers):
        what = "A layer with zinc white"
    elif ground.kind == "oil" and any(name.startswith(STIFF_GROUND) for name in ground.pigments):
        what = "A dark earth or black oil ground"
    else:
        return None
    return Draft(
        Severity.CAUTION,
        f"{what} is stiff, and a stretched canvas moves behind it: that raises the risk of cracks through all layers.",
        advice="A rigid panel, or canvas glued to one, takes the movement away.",
    )
