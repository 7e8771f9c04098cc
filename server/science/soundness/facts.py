"""What the rules look at: facts of each layer, derived once from the situation. Pure arithmetic."""

from dataclasses import dataclass, field, replace

from server.science.recipe import AdditionKind
from server.science.results import FilmState, Stage, StageRange
from server.science.soundness.compare import Ages
from server.science.soundness.mixes import MixFacts, as_one, mix_facts
from server.science.soundness.thresholds import Thresholds
from server.science.soundness.types import Action, Material, MixChange, NewLayer, PaintedLayer, Situation
from server.science.stages import HARDNESS, after_test

DRYING_MATERIALS = frozenset({Material.OIL, Material.ALKYD})
SHORTEST_D = 1.0 / 24.0
WHOLE = 0.98  # a layer that covers this much of the area leaves nothing bare worth speaking of
STAGE_OF_STATE = {
    FilmState.TACKY: Stage.SET_TO_TOUCH,
    FilmState.TOUCH_DRY: Stage.DRY_TO_TOUCH,
    FilmState.FIRM: Stage.DRY_THROUGH,
}


def _richness(mix: MixFacts) -> float:
    return mix.richness


@dataclass(slots=True, eq=False)
class LayerFacts:
    """One layer, never changed once made: painted (``age_d`` counts) or about to go on (``age_d`` 0).

    ``offset_d`` is how much older the layer is than the top one, so that an age of this layer can be said as an age of
    the layer below the brush. ``floor`` is the state the painter found at the age ``seen_d``: never softer after that.
    ``mixes`` is empty where what went on is not known. ``book_touch_d`` is the dry-to-touch time that no touch test has
    moved: layers are compared in speed by it, since a test that finds one film late tells as much of the room, which
    dries the other too.
    """

    place: int
    material: Material
    age_d: float
    offset_d: float
    wet_um: float
    mixes: tuple[MixFacts, ...]
    stages: dict[Stage, StageRange]
    surface: str | None
    floor: FilmState
    seen_d: float
    book_touch_d: float
    ages: Ages
    drying: bool = field(init=False)
    richest: MixFacts | None = field(init=False)
    leanest: MixFacts | None = field(init=False)
    max_added_share: float = field(init=False)
    max_solvent_share: float = field(init=False)
    alkyd_share: float = field(init=False)
    drier: bool = field(init=False)
    _hard: dict[FilmState, bool] = field(init=False)  # what was asked already

    def __post_init__(self) -> None:
        """What follows from the mixes. ``drying``: a film that dries by taking up oxygen, oil or alkyd."""
        mixes = self.mixes
        self.drying = self.material in DRYING_MATERIALS
        self._hard = {}
        if len(mixes) == 1:  # most layers are one mix
            only = mixes[0]
            self.richest = self.leanest = only
            self.max_added_share, self.max_solvent_share = only.added_share, only.solvent_share
            alkyd, self.drier = only.alkyd_share, only.drier
        else:
            self.richest = max(mixes, key=_richness, default=None)
            self.leanest = min(mixes, key=_richness, default=None)
            self.max_added_share = max([mix.added_share for mix in mixes], default=0.0)
            self.max_solvent_share = max([mix.solvent_share for mix in mixes], default=0.0)
            alkyd = max([mix.alkyd_share for mix in mixes], default=0.0)
            self.drier = any(mix.drier for mix in mixes)
        self.alkyd_share = 1.0 if self.material is Material.ALKYD else alkyd

    def time(self, stage: Stage, percentile: str = "p50_d") -> float:
        """Age in days at which the layer reaches the stage; 0 for films that do not dry like oil."""
        found = self.stages.get(stage)
        return 0.0 if found is None else float(getattr(found, percentile))

    def at_least(self, state: FilmState) -> bool:
        """Whether the film is this hard now: set-to-touch at its centre, the others nine times in ten."""
        known = self._hard.get(state)
        if known is None:
            known = self._hard[state] = self._is_at_least(state)
        return known

    def _is_at_least(self, state: FilmState) -> bool:
        if HARDNESS[self.floor] >= HARDNESS[state]:
            return True
        stage = STAGE_OF_STATE[state]
        percentile = "p50_d" if stage is Stage.SET_TO_TOUCH else "p90_d"
        return self.ages.reached(self.age_d, self.time(stage, percentile))

    def dry_at(self, state: FilmState, percentile: str = "p90_d") -> float:
        """Age in days at which the film counts as this hard: found so by the painter, or nine times in ten."""
        late = self.time(STAGE_OF_STATE[state], percentile)
        return min(late, self.seen_d) if HARDNESS[self.floor] >= HARDNESS[state] else late

    @property
    def through(self) -> bool:
        return self.at_least(FilmState.FIRM)

    @property
    def state(self) -> FilmState:
        for state in (FilmState.FIRM, FilmState.TOUCH_DRY, FilmState.TACKY):
            if self.at_least(state):
                return state
        return FilmState.WET

    @property
    def area_share(self) -> float:
        """Share of the panel's area that the layer's mixes cover, 0 to 1."""
        return sum(mix.area_share for mix in self.mixes)

    @property
    def covers(self) -> bool:
        """Whether it covers the whole area, as far as is known."""
        return not self.mixes or self.area_share >= WHOLE

    def top_age(self, age_d: float) -> float:
        """An age of this layer said as the age of the top layer."""
        return age_d - self.offset_d

    @property
    def through_date(self) -> float:
        """The age of the top layer at which this one is dry through, nine times in ten."""
        return self.top_age(self.time(Stage.DRY_THROUGH, "p90_d"))

    def pigment_share(self, keys: frozenset[str]) -> float:
        """The largest share of the pigment volume that these pigments have in any mix."""
        if len(self.mixes) == 1 and keys.isdisjoint(self.mixes[0].pigments):
            return 0.0
        found = [mix.pigments for mix in self.mixes if not keys.isdisjoint(mix.pigments)]
        return max((sum(s for k, s in shares.items() if k in keys) for shares in found), default=0.0)


@dataclass(slots=True, eq=False)
class Facts:
    """The whole question, ready for the rules; never changed once made.

    ``layers`` runs lowest to top. ``lower`` is what the new layer lies on and ``upper`` the new layer; where the new
    layer goes into wet paint in the same session the two count as one: ``merged`` is True, ``upper`` is both
    together and ``lower`` the layer below them.
    """

    situation: Situation
    ages: Ages
    layers: tuple[LayerFacts, ...]
    top: LayerFacts | None
    lower: LayerFacts | None
    upper: LayerFacts | None
    merged: bool
    _resting: tuple[LayerFacts, ...] | None = field(init=False, default=None)
    _touched: tuple[LayerFacts, ...] | None = field(init=False, default=None)
    _not_dry: tuple[LayerFacts, ...] | None = field(init=False, default=None)

    @property
    def action(self) -> Action:
        return self.situation.action

    @property
    def stretched(self) -> bool:
        return self.situation.support == "stretched"

    @property
    def mix_is_all(self) -> bool:
        """Whether the new film is the mix on the palette alone, not also wet paint or oil that is on the panel."""
        return not self.merged and self.action is not Action.OIL_OUT

    def leaving_out(self, kind: AdditionKind) -> tuple[MixChange, ...]:
        """The change that leaves something out of every mix; none where a mix would have nothing left to bind it."""
        mixes = self.upper.mixes if self.upper and self.mix_is_all else ()
        return tuple([mix.without(kind) for mix in mixes]) if all(mix.paint > 0.0 for mix in mixes) else ()

    @property
    def on_ground(self) -> bool:
        """Whether the new layer lies on the ground itself."""
        return self.lower is None

    @property
    def resting(self) -> tuple[LayerFacts, ...]:
        """The layers that the new one lies on, the top one first, and deeper ones that still dry below them."""
        if self._resting is None:
            below = self.layers[:-1] if self.merged else self.layers
            touched = self.touched
            self._resting = tuple(
                [layer for layer in below[::-1] if layer.drying and (layer in touched or not layer.through)]
            )
        return self._resting

    @property
    def touched(self) -> tuple[LayerFacts, ...]:
        """The layers that the new one comes to lie on, the top one first.

        A layer of touches or regions leaves bare what is below it: as far down as the first layer that covers the
        whole area.
        """
        if self._touched is None:
            below = self.layers[:-1] if self.merged else self.layers
            first = next((place for place in range(len(below) - 1, -1, -1) if below[place].covers), 0)
            self._touched = below[: first - 1 if first else None : -1]
        return self._touched

    @property
    def not_dry(self) -> tuple[LayerFacts, ...]:
        """The layers under the brush that are not touch-dry, but for wet paint that the new layer goes into."""
        if self._not_dry is None:
            into_all = self.merged and self.top is not None and self.top.covers
            layers = () if into_all else self.touched
            self._not_dry = tuple([layer for layer in layers if not layer.at_least(FilmState.TOUCH_DRY)])
        return self._not_dry

    def below_as(self, other: "Facts") -> "Facts":
        """These facts, with what was worked out of the same layers below for another new layer."""
        if self.merged == other.merged:
            self._resting, self._touched, self._not_dry = other._resting, other._touched, other._not_dry
        return self


def read_facts(situation: Situation, thresholds: Thresholds) -> Facts:
    """Derive the facts of a situation."""
    ages = Ages()
    layers = tuple(
        [_painted_facts(layer, place, situation, (thresholds, ages)) for place, layer in enumerate(situation.stack)]
    )
    return _complete((situation, situation.upper), layers, thresholds, ages)


def with_upper(facts: Facts, upper: NewLayer, thresholds: Thresholds) -> Facts:
    """The facts of the same situation with another new layer; same book of ages."""
    return _complete((facts.situation, upper), facts.layers, thresholds, facts.ages).below_as(facts)


def _complete(
    asked: tuple[Situation, NewLayer | None], layers: tuple[LayerFacts, ...], thresholds: Thresholds, ages: Ages
) -> Facts:
    """``asked``: the situation, and the new layer that is asked about."""
    situation, new = asked
    top = layers[-1] if layers else None
    upper = _new_facts(new, len(layers), thresholds, ages) if new else None
    if upper and situation.action is Action.OIL_OUT:
        upper = _with_couch(upper, situation, thresholds)
    lower, merged = top, False
    if new and upper and top and _goes_into_wet(new, top):
        merged = True
        upper = _as_one(top, upper)
        lower = layers[-2] if len(layers) > 1 else None
    return Facts(situation, ages, layers, top, lower, upper, merged)


def _goes_into_wet(new: NewLayer, top: LayerFacts) -> bool:
    return new.same_session and top.drying and new.material in DRYING_MATERIALS and not top.at_least(FilmState.TACKY)


def _painted_facts(layer: PaintedLayer, place: int, situation: Situation, tools: tuple[Thresholds, Ages]) -> LayerFacts:
    thresholds, ages = tools
    seen_d = layer.age_d if layer.observed_age_d is None else layer.observed_age_d
    observed = layer.observed if seen_d <= layer.age_d + 1e-9 else None
    # A film that does not dry like oil has no use for oil's times: only the painter's own test can say it is soft.
    stages = layer.stages if layer.material in DRYING_MATERIALS else {}
    if observed is not None and not stages:
        stages = dict.fromkeys(STAGE_OF_STATE.values(), StageRange(*[max(seen_d, SHORTEST_D)] * 5))
    floor = observed or (FilmState.NONE if stages else FilmState.FIRM)
    book_touch_d = _touch_d(stages)
    stages = after_test(stages, observed, seen_d)
    return LayerFacts(
        place=place,
        material=layer.material,
        age_d=layer.age_d,
        offset_d=layer.age_d - situation.stack[-1].age_d,
        wet_um=layer.recipe.wet_thickness_um if layer.recipe else 0.0,
        mixes=mix_facts(layer.recipe, thresholds),
        stages=stages,
        surface=layer.surface,
        floor=floor,
        seen_d=seen_d,
        book_touch_d=book_touch_d,
        ages=ages,
    )


def _touch_d(stages: dict[Stage, StageRange]) -> float:
    return stages[Stage.DRY_TO_TOUCH].p50_d if Stage.DRY_TO_TOUCH in stages else 0.0


def _new_facts(new: NewLayer, place: int, thresholds: Thresholds, ages: Ages) -> LayerFacts:
    return LayerFacts(
        place=place,
        material=new.material,
        age_d=0.0,
        offset_d=0.0,
        wet_um=new.recipe.wet_thickness_um,
        mixes=mix_facts(new.recipe, thresholds),
        stages=new.stages,
        surface=None,
        floor=FilmState.NONE,
        seen_d=0.0,
        book_touch_d=_touch_d(new.stages),
        ages=ages,
    )


def couch_um(situation: Situation, thresholds: Thresholds) -> float:
    """How thick an oiling-out is, in micrometres: as given over the area, or wiped as it should be."""
    if situation.couch_ml is None or not situation.area_cm2:
        return thresholds.couch_um
    return situation.couch_ml / situation.area_cm2 * 1e4


def _with_couch(upper: LayerFacts, situation: Situation, thresholds: Thresholds) -> LayerFacts:
    """The new layer with the oil it is painted into counted in."""
    share = couch_um(situation, thresholds) / upper.wet_um if upper.wet_um > 0.0 else 0.0
    return replace(upper, mixes=tuple(mix.with_oil(mix.volume * share) for mix in upper.mixes))


def _as_one(top: LayerFacts, upper: LayerFacts) -> LayerFacts:
    """Two layers painted wet into wet, as the one film they become: volumes added, the slower one's times."""
    together = as_one([(mix, layer.wet_um * mix.area_share) for layer in (top, upper) for mix in layer.mixes])
    if not top.mixes or together is None:
        return upper
    slower = max(top, upper, key=lambda layer: layer.book_touch_d)
    return replace(
        upper,
        wet_um=top.wet_um + upper.wet_um,
        mixes=(together,),
        stages=slower.stages,
        book_touch_d=slower.book_touch_d,
    )
