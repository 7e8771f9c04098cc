"""Whether the layer below can be touched at all."""

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.rule import About, Draft, Fault, rule
from server.science.soundness.rules.saying import naming, when
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Action, Basis, Severity
from server.science.soundness.words import amount, capital, days, percent, richness

TRADE_FACT = (
    "The layer below is not yet fully dry to the touch, but it can be worked on with light pressure and a brush "
    "wiped free of thinner."
)


def _unfit_for_light_work(facts: Facts, limits: Thresholds) -> list[str]:
    """Why the new layer may not go lightly onto the tacky ones; empty when it may."""
    upper = facts.upper
    if upper is None or upper.leanest is None:
        return ["what goes on is not known"]
    found = []
    if above(upper.max_solvent_share, limits.light_work_solvent_max):
        share = percent(upper.max_solvent_share)
        found.append(f"it holds {share} solvent, at most {percent(limits.light_work_solvent_max)} may go on")
    if above(upper.wet_um, limits.light_work_wet_um):
        found.append(f"it is {amount(upper.wet_um)} µm thick, at most {amount(limits.light_work_wet_um)} µm may go on")
    least = upper.leanest.richness
    if any(layer.richest is None or below(least, layer.richest.richness) for layer in facts.not_dry):
        found.append("it is leaner than the layer below")
    if any(below(upper.book_touch_d, layer.book_touch_d) for layer in facts.not_dry):
        found.append("it dries faster than the layer below")
    return found


def _touch_date(soft: tuple[LayerFacts, ...]) -> float:
    """The age of the top layer at which all of these are touch-dry, nine times in ten."""
    return max(layer.top_age(layer.time(Stage.DRY_TO_TOUCH, "p90_d")) for layer in soft)


@rule(
    About(
        id="R03",
        title="The layer below is not touch-dry",
        looks_at=(
            "The state of every layer that the new one comes to lie on: from your own touch test, or else from the "
            "forecast, at the late end of its range."
        ),
        weighs=(Severity.STOP,),
        fault=Fault.SOFT_BELOW,
        basis=Basis.PUBLISHED,
        sources=("S3", "S29"),
        evidence="advice of conservators and handbooks, plain to see under the brush",
        why=(
            "Paint that has begun to set drags, lifts and rolls under the brush, and what stays is buried soft under "
            "a new skin. Either paint while all of it is wet, or wait until a finger comes away clean."
        ),
        needs_upper=False,
        mix_matters=frozenset({Action.WORK_LIGHTLY}),
        opens=True,
        actions=frozenset({Action.NEXT_LAYER, Action.WORK_LIGHTLY}),
    )
)
def TOUCH_GATE(facts: Facts, limits: Thresholds) -> Draft | None:
    soft = facts.not_dry
    if not soft:
        return None
    tacky = all(layer.at_least(FilmState.TACKY) for layer in soft)
    lightly = facts.action is Action.WORK_LIGHTLY
    unfit = _unfit_for_light_work(facts, limits) if lightly else []
    if tacky and lightly and not unfit:
        return None
    what = capital(naming(soft[0], facts))
    if not tacky:
        reason = f"{what} is still wet. A new layer would drag and lift it, or trap it soft."
    elif lightly:
        reason = (
            f"{what} is not yet fully dry to the touch. It could be worked on with light pressure and a "
            f"brush wiped free of thinner, but not with this layer: {', and '.join(unfit)}."
        )
    else:
        reason = f"{TRADE_FACT} An ordinary new layer would drag and lift it, or trap it soft."
    return Draft(
        Severity.STOP,
        f"{reason} {when(soft[0], Stage.DRY_TO_TOUCH)}",
        not_before_d=_touch_date(soft),
        advice=f"Test with a clean finger at the edge before you paint.{_elsewhere(soft, limits)}",
    )


def _elsewhere(soft: tuple[LayerFacts, ...], limits: Thresholds) -> str:
    """Where only touches are soft, the rest of the panel is free."""
    share = sum(layer.area_share for layer in soft)
    if any(layer.covers for layer in soft) or above(share, limits.local_area_share):
        return ""
    return f" Only about {percent(share)} of the area is soft: clear of it you may paint."


@rule(
    About(
        id="R04",
        title="Wet into wet",
        looks_at="Whether the top layer is still wet and the new paint goes into it in the same session.",
        weighs=(Severity.NOTE,),
        fault=Fault.SOFT_BELOW,
        basis=Basis.PUBLISHED,
        sources=("S4", "D"),
        evidence="advice of conservators: paint of one session has no joint between layers",
        why=(
            "Layers painted into each other while all is wet dry as one film, so they count as one: as thick as both "
            "together."
        ),
        actions=frozenset({Action.NEXT_LAYER, Action.WORK_LIGHTLY}),
        mix_matters=False,
    )
)
def WET_IN_WET(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    if not facts.merged or facts.top is None or facts.upper is None:
        return None
    richest = facts.upper.richest
    rich = f", richness {richness(richest.richness)}" if richest else ""
    closes = days(facts.top.time(Stage.SET_TO_TOUCH))
    return Draft(
        Severity.NOTE,
        "The layer below is still wet and this is the same session: both dry as one film of "
        f"{amount(facts.upper.wet_um)} µm wet{rich}. The window closes when the first paint is about {closes} old.",
    )


@rule(
    About(
        id="R05",
        title="Working lightly on a tacky layer",
        looks_at="A tacky top layer, and the thinner, thickness, richness and speed of what goes on it.",
        weighs=(Severity.CAUTION,),
        fault=Fault.SOFT_BELOW,
        basis=Basis.COMMON_PRACTICE,
        sources=("CP", "S90m"),
        evidence="studio practice; one painter's layered method keeps the first lean layer tacky on purpose",
        why=(
            "A thin, unthinned film that is no leaner and no quicker than the tacky one below moves along with it. "
            "Thinner would dissolve what has begun to set, and pressure would tear it."
        ),
        actions=frozenset({Action.WORK_LIGHTLY}),
        opens=True,
    )
)
def TACKY_EXCEPTION(facts: Facts, limits: Thresholds) -> Draft | None:
    soft = facts.not_dry
    if not soft or not all(layer.at_least(FilmState.TACKY) for layer in soft):
        return None
    if _unfit_for_light_work(facts, limits):
        return None
    return Draft(
        Severity.CAUTION,
        f"{TRADE_FACT} {when(soft[0], Stage.DRY_TO_TOUCH)}",
        not_before_d=_touch_date(soft),
        advice="To go on now: light pressure, a soft clean brush wiped free of thinner, no thinner in the paint.",
    )
