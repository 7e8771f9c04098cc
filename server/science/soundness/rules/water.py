"""Acrylic and oil on each other."""

from server.science.soundness.compare import above
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, Topic, rule, weight
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Material, Severity
from server.science.soundness.words import days

OILY = frozenset({Material.OIL, Material.ALKYD, Material.OLD_PAINTING})


@rule(
    About(
        id="R23",
        title="Acrylic over oil",
        looks_at="Acrylic that goes onto oil, alkyd or an oil ground, or that lies on it already below the new layer.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.PEELING,
        basis=Basis.COMMON_PRACTICE,
        sources=("CP",),
        evidence="advised by everyone; no controlled study was found",
        why="A water-borne film can neither wet nor grip an oily film, and the oil below goes on moving for years.",
        mix_matters=False,
        only_about=Topic.ACRYLIC,
    )
)
def ACRYLIC_OVER_OIL(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    if facts.upper is None:
        return None
    onto_oil = facts.upper.material is Material.ACRYLIC
    oily, lies_on_oil = facts.situation.ground.kind == "oil", False
    for layer in facts.layers:
        lies_on_oil = lies_on_oil or (oily and layer.material is Material.ACRYLIC)
        oily = oily or layer.material in OILY
    if not onto_oil and lies_on_oil:
        return Draft(
            Severity.CAUTION,
            "Acrylic lies on oil or alkyd further down. It holds badly there, and what goes on it may come off with "
            "it.",
            advice="Take the acrylic off while that can be done, or begin on a new support.",
        )
    if not onto_oil or not oily:
        return None
    return Draft(
        Severity.STOP,
        "Acrylic does not hold on oil or alkyd: it cannot grip an oily film that still moves. Waiting does not "
        "change that.",
        advice="Use oil or alkyd here, or begin on a new support.",
    )


@rule(
    About(
        id="R24",
        title="Oil over acrylic",
        looks_at="The age, thickness and gloss of the acrylic that oil goes onto.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.SHUT_IN,
        basis=Basis.PUBLISHED,
        sources=("S11", "S12"),
        evidence="advice of conservators: three days at least, two weeks usual, a month better",
        why=(
            "Acrylic must lose its water before oil seals it, and oil grips a thin, matt, porous acrylic film far "
            "better than a thick or glossy one."
        ),
        mix_matters=False,
        only_about=Topic.ACRYLIC,
    )
)
def OIL_OVER_ACRYLIC(facts: Facts, limits: Thresholds) -> Draft | None:
    if facts.upper is None or not facts.upper.drying:
        return None
    drafts = [_over_one(facts, limits, *each) for each in _acrylics(facts, limits)]
    found = [draft for draft in drafts if draft is not None]
    return max(found, key=lambda draft: (weight(draft.severity), draft.not_before_d or 0.0), default=None)


def _acrylics(facts: Facts, limits: Thresholds) -> list[tuple[LayerFacts | None, bool]]:
    """The acrylic films that the new layer lies on (None: the ground), and whether each is slick."""
    ground = facts.situation.ground
    if facts.lower is None and ground.kind == "acrylic" and not facts.merged:
        return [(None, ground.surface == "gloss")]
    return [
        (layer, layer.surface == "gloss" or above(layer.wet_um, limits.acrylic_thick_um))
        for layer in facts.touched
        if layer.material is Material.ACRYLIC
    ]


def _over_one(facts: Facts, limits: Thresholds, layer: LayerFacts | None, slick: bool) -> Draft | None:
    age_d = facts.situation.ground.age_d if layer is None else layer.age_d
    what = "acrylic ground" if layer is None else "acrylic below"

    def date(age: float) -> float:
        return age if layer is None else layer.top_age(age)

    if age_d is not None and not facts.ages.reached(age_d, limits.acrylic_wait_d):
        return Draft(
            Severity.STOP,
            f"The {what} is younger than {days(limits.acrylic_wait_d)} and still holds water. Oil would shut it in "
            f"and hold badly. {days(limits.acrylic_advised_d)} are usual, a month is better.",
            not_before_d=date(limits.acrylic_wait_d),
        )
    if slick:
        return Draft(
            Severity.CAUTION,
            f"The {what} is thick or glossy. Oil holds poorly on acrylic without tooth.",
            advice="Take the gloss off lightly, wet, and wipe the surface clean; keep the first oil layer thin.",
        )
    if age_d is not None and not facts.ages.reached(age_d, limits.acrylic_advised_d):
        return Draft(
            Severity.NOTE,
            f"The {what} has had its three days; {days(limits.acrylic_advised_d)} are usual, a month is better.",
            not_before_d=date(limits.acrylic_advised_d),
        )
    return None
