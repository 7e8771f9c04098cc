"""Oiling out: a trace of oil rubbed in before painting on."""

from server.science.results import FilmState
from server.science.soundness.compare import above
from server.science.soundness.facts import Facts, couch_um
from server.science.soundness.rule import About, Draft, Fault, rule
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Action, Basis, Severity
from server.science.soundness.words import amount


@rule(
    About(
        id="R30",
        title="Oiling out",
        looks_at="How thick the oil lies, whether the paint is touch-dry, and whether it is painted into at once.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.WRINKLES,
        basis=Basis.PUBLISHED,
        sources=("S7", "S13", "D"),
        evidence="conservators: not needed for the hold between layers; the amounts are our own",
        why=(
            "Oil on the surface that is not painted into yellows and stays sticky. A bloom of it, wiped until almost "
            "nothing is left and painted into at once, brings sunken colour up."
        ),
        actions=frozenset({Action.OIL_OUT}),
        needs_upper=False,
        opens=True,
    )
)
def OILING_OUT(facts: Facts, limits: Thresholds) -> Draft | None:
    top = facts.top
    if top is None:
        return None
    area = facts.situation.area_cm2
    most_ml = area * limits.couch_um * 1e-4 if area else None
    most = f" For this picture that is {amount(most_ml)} ml in all." if most_ml else ""
    advice = f"Wipe it down to a bloom of {amount(limits.couch_um)} µm or less.{most}"
    if facts.upper is None:
        return Draft(
            Severity.STOP,
            "Oil as the last thing on a picture is surplus oil: it yellows and stays sticky.",
            max_couch_ml=most_ml,
            advice=(
                f"Oil out only where you paint in the same session. {advice} To even the gloss of a finished picture, "
                "wait and give it a temporary varnish."
            ),
        )
    if not top.at_least(FilmState.TOUCH_DRY):
        return Draft(
            Severity.STOP,
            "The paint is not touch-dry. Oil rubbed in now lifts it and stays in it.",
            not_before_d=top.dry_at(FilmState.TOUCH_DRY),
            advice="If colour comes off on the cloth, it was not dry.",
        )
    thick = couch_um(facts.situation, limits)
    if above(thick, limits.couch_caution_um):
        return Draft(
            Severity.CAUTION,
            f"The oil lies {amount(thick)} µm thick; more than {amount(limits.couch_caution_um)} µm is surplus and "
            "yellows.",
            max_couch_ml=most_ml,
            advice=advice,
        )
    return Draft(
        Severity.NOTE,
        "Oiling out is not needed for the hold between layers. Paint into it in the same session; it counts as oil "
        "in the new layer.",
        max_couch_ml=most_ml,
        advice=advice,
    )
