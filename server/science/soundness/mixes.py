"""Facts of a mix: richness D, added-binder share M, solvent share S and what is in it.

They need only what the painter knows (parts of paint, medium and thinner by volume), not the tube's own oil.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from server.science.recipe import AdditionKind, LayerRecipe, MixRecipe
from server.science.soundness.pigments import key_of
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import MixChange

LINSEED = "linseed"
BOILED = "boiled_linseed"  # an oil that brings its drier
DEFAULT_ALKYD_NON_VOLATILE = 0.5  # from memory; the recipe may say otherwise


@dataclass(slots=True, eq=False)
class MixFacts:
    """One mix; never changed once made.

    ``paint``, ``binder`` (added, non-volatile), ``inert`` and ``solvent`` are parts by volume. ``free_solvent`` is the
    part of ``solvent`` outside mediums, which can be left out. ``alkyd``, ``wax`` and ``resin`` are the parts of
    ``binder`` that are these. ``pigments`` are shares of the pigment volume by table key ("PW6", "PBr7/raw umber");
    ``oils`` shares of the oil by name. ``index`` is the mix's place in its layer's recipe.
    """

    index: int
    name: str
    area_share: float
    paint: float
    binder: float
    inert: float
    solvent: float
    base_fraction: float
    free_solvent: float = 0.0
    alkyd: float = 0.0
    wax: float = 0.0
    resin: float = 0.0
    clove_drops: float = 0.0
    drier: bool = False
    pigments: dict[str, float] = field(default_factory=dict)
    oils: dict[str, float] = field(default_factory=dict)
    volume: float = field(init=False)
    richness: float = field(init=False)
    added_share: float = field(init=False)
    solvent_share: float = field(init=False)

    def __post_init__(self) -> None:
        """Wet volume in parts, D, M and S.

        D = (P + B + K)(1 - f0) / (P (1 - f0) + K): 1 is tube paint, ``inf`` a film without any solids. M = B / (P + B).
        S = solvent / wet volume, the solvent inside mediums counted.
        """
        solids = 1.0 - self.base_fraction
        base = self.paint * solids + self.inert
        dry = self.paint + self.binder + self.inert
        self.volume = dry + self.solvent
        self.richness = dry * solids / base if base > 0.0 else float("inf")
        self.added_share = self.binder / (self.paint + self.binder) if self.paint + self.binder > 0.0 else 0.0
        self.solvent_share = self.solvent / self.volume if self.volume > 0.0 else 0.0

    @property
    def alkyd_share(self) -> float:
        """Share of the whole binder, tube oil included, that is alkyd."""
        if not self.alkyd:
            return 0.0
        whole = self.paint * self.base_fraction + self.binder
        return self.alkyd / whole if whole > 0.0 else 0.0

    def medium_share(self, part: float) -> float:
        """Share of the added non-volatile medium that ``part`` is."""
        return part / self.binder if self.binder > 0.0 else 0.0

    def oil_to_gain(self, gap: float) -> float:
        """Parts of oil that raise D by ``gap``: x = gap (P (1 - f0) + K) / (1 - f0)."""
        return gap * (self.paint * (1.0 - self.base_fraction) + self.inert) / (1.0 - self.base_fraction)

    def with_oil(self, parts: float) -> "MixFacts":
        """The mix with so many parts of oil more."""
        return replace(self, binder=self.binder + parts)

    @property
    def prevailing_oil(self) -> str:
        """The oil there is most of, tube oil counted; linseed where there is none."""
        oils = self.oils
        return max(oils, key=lambda name: oils[name], default=LINSEED)

    def change(self, paint_ml: float, *, oil: float = 0.0, solvent: float = 0.0, paint: float = 0.0) -> MixChange:
        """Parts of oil or tube paint to add and of solvent to leave out, where the mix holds ``paint_ml`` of paint."""
        ml = self.scale(paint_ml)
        return MixChange(self.index, self.name, oil * ml, solvent * ml, paint * ml, self.prevailing_oil, ml)

    def without(self, *kinds: AdditionKind) -> MixChange:
        """The change that leaves out every addition of these kinds."""
        return MixChange(self.index, self.name, leave_out=kinds)

    def scale(self, paint_ml: float) -> float:
        """Millilitres per part when the mix holds ``paint_ml`` of tube paint (of everything, if it holds none)."""
        base = self.paint if self.paint > 0.0 else self.binder + self.inert
        return paint_ml / base if base > 0.0 else 0.0


def mix_facts(recipe: LayerRecipe | None, thresholds: Thresholds) -> tuple[MixFacts, ...]:
    """The facts of each mix of a recipe; none where the recipe is not known."""
    return () if recipe is None else _known(_Same(recipe), thresholds.base_binder_fraction)


class _Same:
    """A recipe by its identity: to compare all that stands in it costs as much as its facts."""

    __slots__ = ("recipe",)

    def __init__(self, recipe: LayerRecipe) -> None:
        self.recipe = recipe  # held, so that nothing else comes to its identity

    def __hash__(self) -> int:
        return id(self.recipe)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.recipe is self.recipe


@lru_cache(maxsize=2048)
def _known(same: _Same, base_fraction: float) -> tuple[MixFacts, ...]:
    """A layer that is asked about lies below all that come after it."""
    return tuple([_one_mix(index, mix, base_fraction) for index, mix in enumerate(same.recipe.mixes)])


def _one_mix(index: int, mix: MixRecipe, base_fraction: float) -> MixFacts:
    oil = alkyd = wax = resin = inert = clove = 0.0
    free_solvent = inside = 0.0  # inside: the solvent that mediums bring
    drier = False
    for addition in mix.additions:
        kind, parts = addition.kind, addition.parts
        if kind is AdditionKind.OIL:
            oil += parts
            drier = drier or addition.oil == BOILED
        elif kind is AdditionKind.SOLVENT:
            free_solvent += parts
        elif kind is AdditionKind.ALKYD_MEDIUM:
            stays = parts * (DEFAULT_ALKYD_NON_VOLATILE if addition.non_volatile is None else addition.non_volatile)
            alkyd += stays
            inside += parts - stays
        elif kind is AdditionKind.DRIER:
            drier = True
        elif kind is AdditionKind.CLOVE_OIL:
            clove += addition.drops_per_10_ml or 0.0
        elif kind is AdditionKind.WAX:
            wax += parts
        elif kind is AdditionKind.SOFT_RESIN:
            resin += parts
        else:
            inert += parts
    return MixFacts(
        index=index,
        name=mix.name,
        area_share=mix.area_share,
        paint=sum([item.parts for item in mix.paints]),
        binder=oil + alkyd + wax + resin,
        inert=inert,
        solvent=inside + free_solvent,
        base_fraction=base_fraction,
        free_solvent=free_solvent,
        alkyd=alkyd,
        wax=wax,
        resin=resin,
        clove_drops=clove,
        drier=drier or any(item.oil == BOILED for item in mix.paints),
        pigments=_pigment_shares(mix),
        oils=_oil_shares(mix, base_fraction),
    )


def _pigment_shares(mix: MixRecipe) -> dict[str, float]:
    """Shares of the pigment volume, all tube paints taken as equally full of pigment."""
    if len(mix.paints) == 1 and len(mix.paints[0].pigments) == 1:
        [only] = mix.paints[0].pigments
        return {key_of(only.ci_name, only.variant): 1.0}
    shares: dict[str, float] = {}
    whole = sum(item.parts for item in mix.paints)
    for item in mix.paints:
        total = sum(pigment.share for pigment in item.pigments)
        for pigment in item.pigments:
            key = key_of(pigment.ci_name, pigment.variant)
            shares[key] = shares.get(key, 0.0) + item.parts * pigment.share / (total * whole)
    return shares


def oil_parts(mix: MixRecipe, base_binder_fraction: float) -> dict[str, float]:
    """Parts of each oil in a mix, those of the tube paints included."""
    parts: dict[str, float] = {}
    for paint in mix.paints:
        parts[paint.oil] = parts.get(paint.oil, 0.0) + paint.parts * base_binder_fraction
    for addition in mix.additions:
        if addition.kind is AdditionKind.OIL and addition.oil:
            parts[addition.oil] = parts.get(addition.oil, 0.0) + addition.parts
    return parts


def _oil_shares(mix: MixRecipe, base_binder_fraction: float) -> dict[str, float]:
    parts = oil_parts(mix, base_binder_fraction)
    if len(parts) == 1:  # most mixes
        return {name: 1.0 for name, value in parts.items() if value > 0.0}
    whole = sum(parts.values())
    return {name: value / whole for name, value in parts.items()} if whole > 0.0 else {}


def as_one(weighted: Sequence[tuple[MixFacts, float]]) -> MixFacts | None:
    """Several mixes as the one they become when painted into each other; weights are their volumes."""
    shares = [(mix, volume / mix.volume) for mix, volume in weighted if mix.volume > 0.0]
    if not shares:
        return None

    def total(name: str) -> float:
        return sum(float(getattr(mix, name)) * share for mix, share in shares)

    last = shares[-1][0]
    paint = total("paint")
    pigments: dict[str, float] = {}
    oils: dict[str, float] = {}
    for mix, share in shares:
        for key, value in mix.pigments.items():
            pigments[key] = pigments.get(key, 0.0) + value * mix.paint * share / paint
        for name, value in mix.oils.items():
            oils[name] = oils.get(name, 0.0) + value * share / len(shares)
    whole = sum(oils.values())
    return MixFacts(
        index=0,
        name=last.name,
        area_share=1.0,
        paint=paint,
        binder=total("binder"),
        inert=total("inert"),
        solvent=total("solvent"),
        base_fraction=last.base_fraction,
        free_solvent=total("free_solvent"),
        alkyd=total("alkyd"),
        wax=total("wax"),
        resin=total("resin"),
        clove_drops=max(mix.clove_drops for mix, _ in shares),
        drier=any(mix.drier for mix, _ in shares),
        pigments=pigments,
        oils={name: value / whole for name, value in oils.items()} if whole > 0.0 else {},
    )
