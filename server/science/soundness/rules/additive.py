"""What does not belong in the paint, or only a little of it: resin, wax, bitumen, clove oil."""

from server.science.recipe import AdditionKind
from server.science.soundness.compare import above, below
from server.science.soundness.facts import Facts, LayerFacts
from server.science.soundness.pigments import NEVER_HARDENING
from server.science.soundness.rule import About, Draft, Fault, Topic, rule
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Basis, Severity
from server.science.soundness.words import amount, percent


def _covered(facts: Facts) -> tuple[LayerFacts, ...]:
    return facts.layers[:-1] if facts.merged else facts.layers


def _resin_share(layer: LayerFacts) -> float:
    return max([mix.medium_share(mix.resin) for mix in layer.mixes if mix.resin], default=0.0)


def _wax_share(layer: LayerFacts) -> float:
    return max([mix.medium_share(mix.wax) for mix in layer.mixes if mix.wax], default=0.0)


@rule(
    About(
        id="R18",
        title="Soft resin in the paint",
        looks_at="The share of dammar, mastic and their like in the medium, in every layer.",
        weighs=(Severity.CAUTION, Severity.STOP),
        fault=Fault.SOLUBLE,
        basis=Basis.PUBLISHED,
        sources=("S6", "S24", "D"),
        evidence="harm by dammar, mastic and megilp is long documented",
        why=(
            "Soft resins turn brittle and yellow and stay soluble: a later cleaning dissolves them together with the "
            "paint they are in."
        ),
        needs_upper=False,
        only_about=Topic.RESIN,
    )
)
def SOFT_RESIN(facts: Facts, limits: Thresholds) -> Draft | None:
    below_share = max((_resin_share(layer) for layer in _covered(facts)), default=0.0)
    upper_share = _resin_share(facts.upper) if facts.upper else 0.0
    if above(below_share, limits.resin_medium_share):
        return Draft(
            Severity.STOP,
            f"A layer below has {percent(below_share)} soft resin in its medium. It turns brittle and stays soluble "
            "under whatever covers it.",
            advice="Resin layers are not for painting over; use mediums without resin, and varnish at the end.",
        )
    if above(upper_share, limits.resin_medium_share):
        return Draft(
            Severity.CAUTION,
            f"Soft resin is {percent(upper_share)} of the medium. It turns brittle and yellow and stays soluble.",
            by_mix=facts.leaving_out(AdditionKind.SOFT_RESIN),
            advice="Do not cover such a layer; varnish at the end instead.",
        )
    return None


@rule(
    About(
        id="R19",
        title="Wax in the paint",
        looks_at="The share of wax in the medium of the new layer and of those below, and the support.",
        weighs=(Severity.NOTE, Severity.CAUTION, Severity.STOP),
        fault=Fault.NEVER_DRY,
        basis=Basis.PUBLISHED,
        sources=("S9", "D"),
        evidence="a third of wax in the medium left films that solvents attack; small amounts are thought to do little",
        why="Wax keeps a film soft and open to solvents for good, and other paint holds badly on it.",
        needs_upper=False,
        only_about=Topic.WAX,
    )
)
def WAX(facts: Facts, limits: Thresholds) -> Draft | None:
    upper_share = _wax_share(facts.upper) if facts.upper else 0.0
    severity = _wax_severity(upper_share, facts, limits)
    if severity in (Severity.STOP, Severity.CAUTION):
        return _wax_draft(severity, upper_share, facts, limits)
    below_share = max((_wax_share(layer) for layer in _covered(facts)), default=0.0)
    if above(below_share, limits.wax_note) and not above(upper_share, limits.wax_note):
        return Draft(
            Severity.CAUTION,
            f"A layer below has {percent(below_share)} wax in its medium and the new one has none to speak of: paint "
            "holds badly on wax.",
            advice="Keep wax for the last layers.",
        )
    return None if severity is Severity.SOUND else _wax_draft(severity, upper_share, facts, limits)


def _wax_severity(share: float, facts: Facts, limits: Thresholds) -> Severity:
    if not below(share, limits.wax_stop):
        return Severity.STOP if facts.stretched else Severity.CAUTION
    if above(share, limits.wax_caution):
        return Severity.CAUTION
    return Severity.NOTE if above(share, limits.wax_note) else Severity.SOUND


def _wax_draft(severity: Severity, share: float, facts: Facts, limits: Thresholds) -> Draft:
    return Draft(
        severity,
        f"Wax is {percent(share)} of the medium. The film stays soft and solvents attack it, on canvas more than on a "
        "panel.",
        by_mix=facts.leaving_out(AdditionKind.WAX),
        advice=f"Keep wax to {percent(limits.wax_note)} of the medium or less, on a rigid support.",
    )


@rule(
    About(
        id="R27",
        title="Bitumen",
        looks_at="Bitumen in any layer.",
        weighs=(Severity.STOP,),
        fault=Fault.NEVER_DRY,
        basis=Basis.PUBLISHED,
        sources=("S51", "S27"),
        evidence="long documented on 19th-century pictures",
        why=(
            "Bitumen never hardens. Whatever lies on it drifts apart into wide cracks, and it keeps moving in warm "
            "rooms."
        ),
        needs_upper=False,
        mix_matters=False,
        only_about=Topic.BITUMEN,
    )
)
def BITUMEN(facts: Facts, limits: Thresholds) -> Draft | None:
    del limits
    layers = (*facts.layers, facts.upper) if facts.upper else facts.layers
    if all(layer.pigment_share(NEVER_HARDENING) <= 0.0 for layer in layers):
        return None
    return Draft(
        Severity.STOP,
        "There is bitumen in this picture. It never hardens, and paint over it or with it cracks into islands.",
        advice="Mix a transparent brown from lasting pigments instead; scrape the bitumen off while it can be done.",
    )


@rule(
    About(
        id="R28",
        title="Oil that does not dry",
        looks_at="Drops of clove oil in the new layer.",
        weighs=(Severity.CAUTION,),
        fault=Fault.NEVER_DRY,
        basis=Basis.FROM_MEMORY,
        sources=("M",),
        evidence="from memory, not checked",
        why="Clove oil stops oil paint from drying; more than a drop in ten millilitres and the film may stay soft.",
        only_about=Topic.CLOVE,
    )
)
def NON_DRYING_OIL(facts: Facts, limits: Thresholds) -> Draft | None:
    most = max((mix.clove_drops for mix in facts.upper.mixes), default=0.0) if facts.upper else 0.0
    if not above(most, limits.clove_drops):
        return None
    return Draft(
        Severity.CAUTION,
        f"{amount(most)} drops of clove oil to 10 ml: with more than {amount(limits.clove_drops)} the film may stay "
        "soft for very long.",
        by_mix=facts.leaving_out(AdditionKind.CLOVE_OIL),
        advice="Or use less, and never olive, mineral or baby oil, which do not dry at all.",
    )
