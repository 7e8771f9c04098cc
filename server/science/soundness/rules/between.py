"""Whether the new layer will hold on to the old one: old and glossy films, varnish between, old pictures, glazes."""

from operator import itemgetter

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, Topic, rule
from server.science.soundness.rules.saying import naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Material, Severity
from server.science.soundness.words import amount, capital, days, percent


def _poor_hold(lower: LayerFacts, facts: Facts, limits: Thresholds) -> list[str]:
    found = []
    if lower.surface == "gloss":
        found.append("it is glossy")
    if above(lower.max_added_share, limits.old_film_medium):
        found.append(f"it holds {percent(lower.max_added_share)} added medium")
    # A matt alkyd film takes oil well.
    if not below(lower.alkyd_share, limits.alkyd_rich_share) and lower.surface != "matte":
        found.append("it is rich in alkyd")
    if facts.ages.past(lower.age_d, limits.old_film_d):
        found.append(f"it is older than {days(limits.old_film_d)}")
    return found


@rule(
    About(
        id="R14",
        title="Old or glossy film",
        looks_at="The age, gloss, medium and alkyd of the layer that the new one lies on.",
        weighs=(Severity.CAUTION,),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S13", "S30", "S28", "D"),
        evidence="conservators see such layers come off; how long a film takes paint well was not measured",
        why=(
            "A hard, glossy or greasy film has little tooth and few places left to bond. New paint may be scratched "
            "off it for months."
        ),
        mix_matters=False,
    )
)
def OLD_OR_GLOSSY(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying:
        return None
    dry = [layer for layer in facts.touched if layer.drying and layer.at_least(FilmState.TOUCH_DRY)]
    poor = [(layer, found) for layer in dry if (found := _poor_hold(layer, facts, limits))]
    if not poor:
        return None
    layer, found = poor[0]
    return Draft(
        Severity.CAUTION,
        f"{capital(naming(layer, facts))} may not take paint well: {', and '.join(found)}.",
        advice=(
            "Clean the grease off, take the gloss off lightly and wet, or rub in a whisper of oil and paint into it. "
            "Scratch a corner four weeks later."
        ),
    )


@rule(
    About(
        id="R31",
        title="Varnish between layers",
        looks_at="Coats of soluble varnish among the layers.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.SOLUBLE,
        basis=Basis.PUBLISHED,
        sources=("S7", "S8", "S26"),
        evidence="advice of conservators",
        why="A soluble varnish inside the picture dissolves when someone cleans it, and the paint above comes away.",
        dispute="An old handbook allowed a little quick varnish under a glaze when the ground is hard.",
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.VARNISH,
    )
)
def VARNISH_BETWEEN(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    coats = sum(layer.material is Material.RETOUCH_VARNISH for layer in facts.layers)
    if not coats:
        return None
    return Draft(
        Severity.STOP if coats > 1 else Severity.CAUTION,
        f"There {'is a coat' if coats == 1 else f'are {coats} coats'} of soluble varnish under the new paint. A later "
        "cleaning would dissolve it from between the layers.",
        advice="Take it off, or bring up sunken colour with a trace of oil instead; varnish at the end.",
    )


@rule(
    About(
        id="R33",
        title="Over a finished picture",
        looks_at="A finished picture among the layers, or a picture that you have called finished.",
        weighs=(Severity.CAUTION,),
        fault=Fault.PEELING,
        basis=Basis.PUBLISHED,
        sources=("S30", "S13"),
        evidence="handbooks and conservators: works painted over earlier pictures come off more often",
        why="An old picture is fat and hard on top; its drawing shows through in time, and its texture always.",
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.FINISHED,
    )
)
def OLD_PICTURE(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    if any(layer.material is Material.OLD_PAINTING for layer in facts.layers):
        return Draft(
            Severity.CAUTION,
            "There is a finished picture below. Paint holds badly on its fat, hard top, and it may show through.",
            advice=(
                "Scrape the ridges, roughen wet, wipe clean; take old paint to hold lead. Better: use a new support. "
                "Ask a conservator where the picture is not yours or is worth keeping."
            ),
        )
    if not facts.situation.finished or facts.upper is None:
        return None
    return Draft(
        Severity.CAUTION,
        "This picture is called finished. Another layer goes over its last, richest paint, which takes paint the less "
        "the harder it gets.",
        advice="If there is more to paint, take the finish back first; else use a new support.",
    )


OVER_GLOSS = "Rub in a trace of oil, wipe it to a bloom and glaze into it."


@rule(
    About(
        id="R37",
        title="Glaze on a poor bed",
        looks_at="A thin film rich in medium or thinner, over a layer that is not well dried or is glossy.",
        weighs=(Severity.CAUTION,),
        fault=Fault.DRYING_CRACKS,
        basis=Basis.PUBLISHED,
        sources=("S26", "D"),
        evidence="an old handbook; the limits are our own choice",
        why=(
            "A glaze dries otherwise than the paint below. On a bed not well dried it cracks, on a hard gloss it "
            "does not hold."
        ),
    )
)
def GLAZE_LAST(facts: Facts, limits: Thresholds) -> Draft | None:
    upper = facts.upper
    if upper is None or not upper.drying or above(upper.wet_um, limits.glaze_um):
        return None
    oily = above(upper.max_added_share, limits.glaze_medium) or above(upper.max_solvent_share, limits.glaze_solvent)
    if not oily:
        return None
    drying = [layer for layer in facts.touched if layer.drying]
    bed = [layer for layer in drying if layer.at_least(FilmState.TOUCH_DRY)]
    young = [
        (layer.top_age(ready_d), layer)
        for layer in drying
        if layer.floor is not FilmState.FIRM and not facts.ages.reached(layer.age_d, ready_d := _well_dried_d(layer))
    ]
    if any(layer in bed for _, layer in young):
        date_d, slow = max(young, key=itemgetter(0))
        is_glossy = any(layer.surface == "gloss" for layer in drying)
        return Draft(
            Severity.CAUTION,
            f"A glaze of {amount(upper.wet_um)} µm over paint that is touch-dry but not yet well dried: the two dry "
            f"differently, which raises the risk of cracks. {when(slow, Stage.DRY_TO_RECOAT)}",
            # Over gloss the wait alone mends nothing: the finding stays, for its other reason.
            not_before_d=None if is_glossy else date_d,
            advice=f"Wait until then. {OVER_GLOSS}" if is_glossy else "",
        )
    if any(layer.surface == "gloss" for layer in bed):
        return Draft(
            Severity.CAUTION,
            f"A glaze of {amount(upper.wet_um)} µm over hard, glossy paint may not hold.",
            advice=OVER_GLOSS,
        )
    return None


def _well_dried_d(layer: LayerFacts) -> float:
    return layer.time(Stage.DRY_TO_RECOAT, "p90_d") or layer.time(Stage.DRY_THROUGH, "p90_d")
