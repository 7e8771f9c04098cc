"""What the soundness rules look at, and what they answer."""

from dataclasses import dataclass
from enum import StrEnum
from math import inf

from server.science.recipe import AdditionKind, LayerRecipe
from server.science.results import FilmState, Stage, StageRange


class Severity(StrEnum):
    """How a finding weighs, lightest first. ``SOUND`` is the verdict when there is no finding."""

    SOUND = "sound"
    NOTE = "note"
    CAUTION = "caution"
    STOP = "stop"


class Basis(StrEnum):
    """How well a rule is supported."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice"
    DERIVED = "derived"
    FROM_MEMORY = "from memory"


class Material(StrEnum):
    """What kind of film a layer is."""

    OIL = "oil"
    ALKYD = "alkyd"
    ACRYLIC = "acrylic"
    RETOUCH_VARNISH = "retouch_varnish"
    OLD_PAINTING = "old_painting"


class Action(StrEnum):
    """What the painter wants to do with the panel."""

    NEXT_LAYER = "next_layer"
    WORK_LIGHTLY = "work_lightly"
    OIL_OUT = "oil_out"
    TEMPORARY_VARNISH = "temporary_varnish"
    FINAL_VARNISH = "final_varnish"
    FRAME = "frame"
    FRAME_GLAZED = "frame_glazed"
    WRAP = "wrap"
    STACK = "stack"
    SHIP = "ship"
    ABRADE = "abrade"


@dataclass(frozen=True, slots=True)
class GroundFacts:
    """The ground below the paint. ``kind``: acrylic, oil, glue_chalk or none."""

    kind: str
    age_d: float | None = None
    surface: str = "matte"  # absorbent, matte, sealed, gloss
    pigments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PaintedLayer:
    """A layer that is there. ``observed`` is the painter's own touch test and wins over the stages.

    ``stages`` need at least ``p50_d`` and ``p90_d`` of the first four stages; percentiles not known may repeat p50.
    """

    material: Material
    age_d: float
    stages: dict[Stage, StageRange]
    recipe: LayerRecipe | None = None
    surface: str | None = None  # matte, gloss
    observed: FilmState | None = None
    observed_age_d: float | None = None  # how old the layer was when the painter pressed it


@dataclass(frozen=True, slots=True)
class NewLayer:
    """A layer about to go on."""

    material: Material
    stages: dict[Stage, StageRange]
    recipe: LayerRecipe
    same_session: bool = False


@dataclass(frozen=True, slots=True)
class SwabTest:
    """The last swab of a finished picture. ``clean``: no colour on it and no dull spot; ``age_d`` is how old the top
    layer was then."""

    clean: bool
    age_d: float


@dataclass(frozen=True, slots=True)
class Situation:
    """One question to the rules: may ``action`` be done on this stack now? ``stack`` runs lowest to top.

    ``finished``: the painter has called the picture finished.
    """

    support: str  # rigid, stretched
    ground: GroundFacts
    stack: tuple[PaintedLayer, ...]
    upper: NewLayer | None
    action: Action = Action.NEXT_LAYER
    finished: bool = False
    paint_ml: float = 10.0
    area_cm2: float | None = None
    couch_ml: float | None = None
    transit_c: float | None = None
    drops_per_ml: float = 20.0
    swab: SwabTest | None = None


@dataclass(frozen=True, slots=True)
class MixChange:
    """What to change in one mix of the new layer.

    Millilitres belong to ``paint_ml`` of tube paint in that mix, of which a part is ``ml_per_part``. ``oil`` names the
    oil to add; ``leave_out`` what is to be left out altogether.
    """

    index: int  # place of the mix in the layer's recipe
    mix: str
    add_oil_ml: float = 0.0
    reduce_solvent_ml: float = 0.0
    add_paint_ml: float = 0.0
    oil: str = "linseed"
    ml_per_part: float = 1.0
    leave_out: tuple[AdditionKind, ...] = ()


@dataclass(frozen=True, slots=True)
class Way:
    """One way out that can be carried out on the new layer at once: other amounts in its mixes, another thickness,
    several coats. What is said together belongs together."""

    by_mix: tuple[MixChange, ...] = ()
    wet_thickness_um: float | None = None
    coats: int | None = None


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to change, worked out. Figures that do not apply are None; ``not_before_d`` is an age of the layer below.

    ``ways`` are the ways out that can be carried out at once, each tried on the rules: it lowers its finding and raises
    no other. The date is the other way out. The amounts here are those of the first way that has such; where several
    mixes need it, ``by_mix`` has each and the figures here are the largest.
    """

    text: str
    add_oil_ml: float | None = None
    add_oil_g: float | None = None
    add_oil_drops: int | None = None
    reduce_solvent_ml: float | None = None
    add_paint_ml: float | None = None
    max_couch_ml: float | None = None
    coats: int | None = None
    not_before_d: float | None = None
    wet_thickness_um: float | None = None
    by_mix: tuple[MixChange, ...] = ()
    ways: tuple[Way, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    rule: str  # R01 ...
    severity: Severity
    title: str
    reason: str
    basis: Basis
    source: str
    remedy: Remedy | None = None

    @property
    def holds_d(self) -> float:
        """Until which age of the layer below it stands; ``inf`` where no waiting cures it."""
        named = None if self.remedy is None else self.remedy.not_before_d
        return inf if named is None else named


@dataclass(frozen=True, slots=True)
class Verdict:
    """The worst severity, the top layer's state now, and the findings, worst first (`check.order_of`).

    ``unchanged_for_d``: for how many days from now no rule's answer changes by ageing alone (may be ``inf``), so a
    caller can keep the verdict that long.
    """

    verdict: Severity
    state: FilmState
    findings: tuple[Finding, ...]
    unchanged_for_d: float
