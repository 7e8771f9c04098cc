"""After the last layer: varnish, frame, wrap, stack, ship, and rubbing down."""

from server.science.results import FilmState, Stage
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.pigments import toxic_dust
from server.science.soundness.rule import About, Draft, Fault, rule
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Action, Basis, Material, Severity
from server.science.soundness.words import amount, days

SWAB = (
    "Roll a cotton swab barely damp with mild spirit over a spot under the rebate for a few seconds, and press a "
    "fingernail into the thickest paint: no colour on the swab, no dull spot, no dent. Stop at once if there is."
)


def _films(facts: Facts) -> tuple[LayerFacts, ...]:
    return tuple(layer for layer in facts.layers if layer.drying)


def _all_dry_d(facts: Facts, state: FilmState, percentile: str = "p90_d") -> float:
    """Age of the top layer at which every film is this hard."""
    return max((layer.top_age(layer.dry_at(state, percentile)) for layer in _films(facts)), default=0.0)


def _all_are(facts: Facts, state: FilmState) -> bool:
    return all(layer.at_least(state) for layer in _films(facts))


def varnish_wait_d(facts: Facts, limits: Thresholds) -> float:
    """Days after the last layer before a final varnish, by thickness and richness; in proportion in between."""
    films = _films(facts)
    if films and all(not below(layer.alkyd_share, limits.alkyd_rich_share) for layer in films):
        return limits.varnish_alkyd_d
    if any(layer.richest and above(layer.richest.richness, limits.varnish_rich) for layer in films):
        return limits.varnish_thick_d
    thick = max((layer.wet_um for layer in films), default=0.0)
    span = limits.varnish_thick_um - limits.varnish_thin_um
    beyond = thick - limits.varnish_thin_um
    share = min(1.0, max(0.0, beyond / span)) if span > 0.0 else float(beyond > 0.0)
    return limits.varnish_thin_d + share * (limits.varnish_thick_d - limits.varnish_thin_d)


def varnish_date_d(facts: Facts, limits: Thresholds, percentile: str | None = None) -> float:
    """Age of the top layer from which a final varnish may be tested for: the rule's wait or the model's, the later.

    Never before the paint is dry through, and after a swab that took colour never before the next one is due.
    ``percentile`` reads both of the model's stages there; by itself dry-through counts nine times in ten and the
    varnish at its centre.
    """
    asked = percentile or "p50_d"
    modelled = max((layer.top_age(layer.time(Stage.FINAL_VARNISH, asked)) for layer in _films(facts)), default=0.0)
    through_d = _all_dry_d(facts, FilmState.FIRM, percentile or "p90_d")
    swab = facts.situation.swab
    again_d = swab.age_d + limits.swab_again_d if swab is not None and not swab.clean else 0.0
    return max(varnish_wait_d(facts, limits), through_d, modelled, again_d)


def first_day_d(facts: Facts, limits: Thresholds, percentile: str) -> float | None:
    """Age of the top layer from which nothing speaks against what is to be done but a test; None: it never may be.

    The stages of the films are read at ``percentile``; the painter's own touch tests count.
    """
    touch_d, through_d = (_all_dry_d(facts, state, percentile) for state in (FilmState.TOUCH_DRY, FilmState.FIRM))
    days_by_action = {
        Action.TEMPORARY_VARNISH: max(limits.temporary_d, touch_d),
        Action.FINAL_VARNISH: varnish_date_d(facts, limits, percentile),
        Action.FRAME: touch_d + limits.frame_wait_d,
        Action.FRAME_GLAZED: through_d,
        Action.WRAP: through_d + limits.wrap_wait_d,
        Action.STACK: through_d,
        Action.SHIP: touch_d,
    }
    return days_by_action.get(facts.action)


@rule(
    About(
        id="R35",
        title="Final varnish",
        looks_at=(
            "The age of the last layer, the thickness and richness of the picture, the state of every layer, and the "
            "painter's own swab."
        ),
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.SHUT_IN,
        basis=Basis.PUBLISHED,
        sources=("S26", "S28", "S56", "CP", "D"),
        evidence="handbooks agree on months, not on how many; half a year to a year is custom",
        why=(
            "Varnish laid on paint that still hardens cracks with it or sinks into it, and its solvent softens young "
            "paint. A date is only the earliest day to test."
        ),
        dispute="Not varnishing at all is a choice some conservators defend.",
        actions=frozenset({Action.FINAL_VARNISH}),
        needs_upper=False,
        mix_matters=False,
    )
)
def FINAL_VARNISH(facts: Facts, limits: Thresholds) -> Draft | None:
    top = facts.top
    if top is None:
        return None
    earliest_d = varnish_date_d(facts, limits)
    swab = facts.situation.swab
    if not facts.ages.reached(top.age_d, earliest_d):
        told = "" if swab is None or swab.clean else f" The swab took colour at an age of {days(swab.age_d)}."
        return Draft(
            Severity.STOP,
            f"Too early for a final varnish: the paint is still hardening.{told} The earliest day to test is when the "
            f"last layer is {days(earliest_d)} old.",
            not_before_d=earliest_d,
            advice="Until then a temporary varnish, or none: leaving a picture unvarnished is a choice too.",
        )
    if swab is not None and swab.clean and not below(swab.age_d, earliest_d):
        return Draft(
            Severity.NOTE,
            f"The waiting time is over, and the swab stayed clean when the last layer was {days(swab.age_d)} old.",
            advice="One thin coat on a dry day, with air moving to the outside; write on the back what it is.",
        )
    alkyd = all(not below(layer.alkyd_share, limits.alkyd_rich_share) for layer in _films(facts))
    return Draft(
        Severity.NOTE if alkyd else Severity.CAUTION,
        "The waiting time is over, but the date alone does not say that the paint is ready. Test first.",
        advice=SWAB,
    )


@rule(
    About(
        id="R35",
        title="Temporary varnish",
        looks_at="The age of the last layer, and whether every layer is touch-dry.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.SHUT_IN,
        basis=Basis.COMMON_PRACTICE,
        sources=("S8", "S26", "CP"),
        evidence="a thinned varnish soon after touch-dry has a history; the weeks are custom",
        why="A thin temporary coat evens the gloss for a show. It must come off, or be varnished over, later.",
        actions=frozenset({Action.TEMPORARY_VARNISH}),
        needs_upper=False,
        mix_matters=False,
    )
)
def TEMPORARY_VARNISH(facts: Facts, limits: Thresholds) -> Draft | None:
    top = facts.top
    if top is None:
        return None
    first_d = max(limits.temporary_d, _all_dry_d(facts, FilmState.TOUCH_DRY))
    if not facts.ages.reached(top.age_d, first_d):
        return Draft(
            Severity.STOP,
            "Too early for a temporary varnish: every layer must be touch-dry and the last one "
            f"{days(limits.temporary_d)} old.",
            not_before_d=first_d,
        )
    young = not facts.ages.reached(top.age_d, limits.temporary_advised_d)
    return Draft(
        Severity.CAUTION if young else Severity.NOTE,
        "A temporary varnish must come off, or be varnished over, later. Thin it well and lay one coat."
        + (f" {days(limits.temporary_advised_d)} after the last layer is better." if young else ""),
        not_before_d=limits.temporary_advised_d if young else None,
        advice="Write on the back that it is temporary.",
    )


HANDLING = frozenset({Action.FRAME, Action.FRAME_GLAZED, Action.WRAP, Action.STACK, Action.SHIP})


@rule(
    About(
        id="R36",
        title="Framing, wrapping, stacking, moving",
        looks_at="How long every layer has been touch-dry or dry through, and what is to touch the face.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.SHUT_IN,
        basis=Basis.COMMON_PRACTICE,
        sources=("CP", "S94", "S15", "S62", "S95"),
        evidence="custom of studios and framers, who disagree among themselves",
        why="Anything that touches a face not dry through leaves its print there or sticks; air must reach the paint.",
        actions=HANDLING,
        needs_upper=False,
        mix_matters=False,
    )
)
def HANDLE(facts: Facts, limits: Thresholds) -> Draft | None:
    top = facts.top
    if top is None:
        return None
    touch_d, through_d = _all_dry_d(facts, FilmState.TOUCH_DRY), _all_dry_d(facts, FilmState.FIRM)
    action = facts.action
    if action is not Action.WRAP and not _all_are(facts, FilmState.TOUCH_DRY):
        return _not_touch_dry(action, touch_d)
    if action is Action.FRAME:
        return _frame(facts, touch_d, limits)
    if action is Action.WRAP:
        date_d = through_d + limits.wrap_wait_d
        if facts.ages.reached(top.age_d, date_d):
            return None
        return Draft(
            Severity.STOP,
            "Wrapping touches the face: sheet and bubbles leave their print in paint that is not long dry through.",
            not_before_d=date_d,
            advice=(
                "Until then use a box that holds the picture by its edges, face free. Never lay the bubble side on "
                "paint."
            ),
        )
    if action is Action.SHIP or _all_are(facts, FilmState.FIRM):
        return None
    glazed = action is Action.FRAME_GLAZED
    return Draft(
        Severity.CAUTION,
        "The paint is not yet dry through. "
        + ("Under glass expect haze inside." if glazed else "Faces may stick together."),
        not_before_d=through_d,
        advice=(
            "A spacer of 6 mm or more and a vented back help."
            if glazed
            else "Until then stand the panels apart, with air between the faces."
        ),
    )


def _not_touch_dry(action: Action, touch_d: float) -> Draft:
    if action is Action.SHIP:
        return Draft(
            Severity.CAUTION,
            "The paint is not touch-dry. Wet pictures travel only in a box that leaves the face free.",
            not_before_d=touch_d,
            advice="Hold them by the edges, 5 cm or more between wet faces; ask the carrier for their rules.",
        )
    return Draft(
        Severity.STOP,
        "The paint is not touch-dry: nothing may touch it yet.",
        not_before_d=touch_d,
    )


def _frame(facts: Facts, touch_d: float, limits: Thresholds) -> Draft | None:
    assert facts.top is not None
    first_d, better_d = touch_d + limits.frame_wait_d, touch_d + limits.frame_advised_d
    if not facts.ages.reached(facts.top.age_d, first_d):
        return Draft(
            Severity.CAUTION,
            f"Open framing waits {days(limits.frame_wait_d)} to {days(limits.frame_advised_d)} after touch-dry: the "
            "rebate presses on the edges.",
            not_before_d=first_d,
            advice="Or set the picture on spacers so that nothing touches the paint.",
        )
    if facts.ages.reached(facts.top.age_d, better_d):
        return None
    return Draft(
        Severity.NOTE,
        f"Open framing is usual now; {days(limits.frame_advised_d)} after touch-dry is better. Look that the rebate "
        "does not stick.",
        not_before_d=better_d,
    )


@rule(
    About(
        id="R36",
        title="Cold or hot on the way",
        looks_at="The temperature on the way, and the support.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.BRITTLE,
        basis=Basis.PUBLISHED,
        sources=("S54", "S15"),
        evidence="measured: alkyd primers are brittle at 10 °C, acrylic near 0 °C",
        why="Paint and primer turn brittle in the cold, and varnish soft in the heat of a parked van.",
        actions=frozenset({Action.SHIP}),
        needs_upper=False,
        mix_matters=False,
    )
)
def TRANSIT(facts: Facts, limits: Thresholds) -> Draft | None:
    cold_c = facts.situation.transit_c
    if cold_c is None:
        return None
    if above(cold_c, limits.transit_hot_c):
        return Draft(
            Severity.NOTE,
            f"{cold_c:.0f} °C on the way: varnish and soft paint take prints in the heat.",
            advice="Nothing may touch the face; do not leave it in a parked vehicle.",
        )
    if not below(cold_c, limits.transit_cool_c):
        return None
    severity = Severity.CAUTION if below(cold_c, limits.transit_cold_c) else Severity.NOTE
    if below(cold_c, limits.transit_freezing_c) and facts.stretched:
        severity = Severity.STOP
    canvas = " A canvas must not be flexed or stretched then." if facts.stretched else ""
    return Draft(
        severity,
        f"{cold_c:.0f} °C on the way: primer and paint turn brittle below {amount(limits.transit_cool_c)} °C.{canvas}",
        advice="Insulate the box, move it gently, and let it warm up closed before it is opened.",
    )


@rule(
    About(
        id="R34",
        title="Dust",
        looks_at="Lead, cadmium, cobalt, chromates and unknown old paint in what is rubbed down.",
        weighs=(Severity.STOP,),
        fault=Fault.DUST,
        basis=Basis.PUBLISHED,
        sources=("S72", "S73", "S75", "S79"),
        evidence="workplace limits of public authorities",
        why=(
            "Lead, cadmium, cobalt and chromates do their harm as dust. Old paint of unknown make is taken to hold "
            "lead."
        ),
        actions=frozenset({Action.ABRADE}),
        needs_upper=False,
        mix_matters=False,
    )
)
def DUST(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    toxic = toxic_dust()
    keys = {key for layer in facts.layers for mix in layer.mixes for key in mix.pigments}
    names = sorted(
        {*(key for key in keys if key in toxic), *(n for n in facts.situation.ground.pigments if n in toxic)}
    )
    unknown = any(
        layer.material is Material.OLD_PAINTING or (layer.drying and not layer.mixes) for layer in facts.layers
    )
    if not names and not unknown:
        return None
    what = ", ".join(f"{name} ({toxic[name]})" for name in names)
    old = "old or unknown paint, which is taken to hold lead" if unknown else ""
    return Draft(
        Severity.STOP,
        f"Do not rub this down dry: there is {' and '.join(part for part in (what, old) if part)}. Its dust is toxic.",
        advice="Scrape or rub down wet, wipe up wet, or leave it. Follow your health authority and the data sheet.",
    )
