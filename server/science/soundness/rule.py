"""What a rule is, and what it hands back.

A rule is one object: who it is, how well it is supported, when it is asked, and a function from facts to a draft or
``None``. Adding a rule is writing one function under ``@rule(...)`` in a file of ``rules/`` and naming its file there.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import cached_property

from server.science.soundness.facts import Facts
from server.science.soundness.sources import cite
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Action, Basis, MixChange, Severity, Way


class Topic(StrEnum):
    """What a question may be about; a rule that is only about one of these has nothing to say where it is not there."""

    ALKYD = "alkyd"
    DRIER = "drier"
    RESIN = "resin"
    WAX = "wax"
    CLOVE = "clove"
    ZINC = "zinc"
    BITUMEN = "bitumen"
    SLOW_PIGMENT = "slow_pigment"
    SLOW_OIL = "slow_oil"
    ACRYLIC = "acrylic"
    VARNISH = "varnish"
    FINISHED = "finished"
    STRETCHED = "stretched"
    ABSORBENT = "absorbent"
    SLICK = "slick"
    OIL_GROUND = "oil_ground"


class Fault(StrEnum):
    """What goes wrong where a rule is broken, as far as a small drawing can show it."""

    DRYING_CRACKS = "drying_cracks"
    QUICK_OVER_SLOW = "quick_over_slow"
    SOFT_BELOW = "soft_below"
    SKINNED = "skinned"
    WRINKLES = "wrinkles"
    SUNKEN = "sunken"
    PEELING = "peeling"
    BRITTLE = "brittle"
    NEVER_DRY = "never_dry"
    SHUT_IN = "shut_in"
    SOLUBLE = "soluble"
    DUST = "dust"


PAINTING = frozenset({Action.NEXT_LAYER, Action.WORK_LIGHTLY, Action.OIL_OUT})
"""Actions that put something on which more paint or medium follows."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A finding before its remedy is put into words.

    ``by_mix`` is what to change in the mixes, ``instead`` another such change, ``wet_um`` another thickness, ``coats``
    how many coats to split it into: each is offered only if it lowers this finding and raises no other.
    ``not_before_d`` is the age of the top layer from which the finding is gone or lighter. ``advice`` is what can be
    done besides.
    """

    severity: Severity
    reason: str
    by_mix: tuple[MixChange, ...] = ()
    instead: tuple[MixChange, ...] = ()
    wet_um: float | None = None
    not_before_d: float | None = None
    coats: int | None = None
    max_couch_ml: float | None = None
    advice: str = ""

    @property
    def ways(self) -> tuple[Way, ...]:
        """The ways out to try, the plainest first."""
        if not (self.by_mix or self.instead or self.wet_um or self.coats):
            return ()
        ways = (Way(self.by_mix), Way(self.instead), Way(wet_thickness_um=self.wet_um), Way(coats=self.coats))
        return tuple(way for way in ways if way.by_mix or way.wet_thickness_um or way.coats)


Judge = Callable[[Facts, Thresholds], Draft | None]


@dataclass(frozen=True, kw_only=True)
class About:
    """What is known about a rule apart from its function.

    ``sources`` are keys of ``data/soundness_sources.toml``; ``evidence`` says how strong the support is, ``why`` is the
    paragraph a student reads, ``looks_at`` what is compared, ``weighs`` the severities it can come to, lightest first,
    ``fault`` what the drawing shows, ``dispute`` what is argued against it. ``actions``: when the rule is asked;
    ``needs_upper``: only when a new layer is given; ``mix_matters``: whether the answer hangs on the new layer's parts
    or thickness (always, never, or for these actions), so that a remedy's change of them could break it;
    ``only_about``: what must be there for the rule to say anything at all; ``opens``: whether at its date other rules
    only begin to look, so that the date moves on to theirs.
    """

    id: str
    title: str
    looks_at: str
    weighs: tuple[Severity, ...]
    fault: Fault
    basis: Basis
    sources: tuple[str, ...]
    evidence: str
    why: str
    dispute: str = ""
    actions: frozenset[Action] = PAINTING
    needs_upper: bool = True
    mix_matters: bool | frozenset[Action] = True
    only_about: Topic | None = None
    opens: bool = False

    @cached_property
    def source(self) -> str:
        return cite(self.sources)


@dataclass(frozen=True, kw_only=True)
class Rule(About):
    judge: Judge


def rule(about: About) -> Callable[[Judge], Rule]:
    """Make a rule of a function."""
    known = {item.name: getattr(about, item.name) for item in fields(About)}
    return lambda judge: Rule(**known, judge=judge)


ORDER = tuple(Severity)
WEIGHT = {severity: place for place, severity in enumerate(ORDER)}


def weight(severity: Severity) -> int:
    """0 for sound to 3 for stop."""
    return WEIGHT[severity]


def lighter(severity: Severity) -> Severity:
    """One step down."""
    return ORDER[max(0, WEIGHT[severity] - 1)]
