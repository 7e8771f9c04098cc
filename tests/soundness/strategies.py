"""Random situations for property tests."""

from hypothesis import strategies as st

from server.science.recipe import Addition, AdditionKind, Ground, LayerRecipe, MixRecipe, Paint, PigmentShare
from server.science.results import FilmState
from server.science.soundness import Action, GroundFacts, Material, NewLayer, PaintedLayer, Situation
from tests.soundness.builders import times

PIGMENTS = st.sampled_from(
    [
        ("PW6", None),
        ("PW1", None),
        ("PW4", None),
        ("PBk9", None),
        ("PR108", None),
        ("NBr6", None),
        ("PBr7", "raw umber"),
    ]
)
PARTS = st.floats(0.0, 6.0).map(lambda parts: round(parts, 3))
OILS = st.sampled_from(["linseed", "walnut", "stand_linseed", "poppy"])


@st.composite
def additions(draw):
    found = []
    if draw(st.booleans()):
        found.append(Addition(AdditionKind.OIL, parts=draw(PARTS), oil=draw(OILS)))
    if draw(st.booleans()):
        found.append(Addition(AdditionKind.SOLVENT, parts=draw(PARTS), solvent="mineral_spirits"))
    kind = draw(st.sampled_from([None, None, *AdditionKind]))
    if kind is AdditionKind.ALKYD_MEDIUM:
        found.append(Addition(kind, parts=draw(PARTS), non_volatile=0.5))
    elif kind is AdditionKind.DRIER:
        found.append(Addition(kind, metal="Pb", percent_on_oil=0.3))
    elif kind is AdditionKind.CLOVE_OIL:
        found.append(Addition(kind, drops_per_10_ml=draw(st.floats(0.0, 3.0))))
    elif kind in (AdditionKind.WAX, AdditionKind.INERT, AdditionKind.SOFT_RESIN):
        found.append(Addition(kind, parts=draw(PARTS)))
    return tuple(found)


@st.composite
def mixes(draw, area_share=1.0):
    name, variant = draw(PIGMENTS)
    paints = (Paint(draw(st.floats(1.0, 10.0)), draw(OILS), (PigmentShare(name, variant),)),)
    if draw(st.integers(0, 9)) == 0:  # a clear film of oil
        return MixRecipe("oil", area_share, (), (Addition(AdditionKind.OIL, parts=1.0, oil="linseed"),))
    return MixRecipe(draw(st.sampled_from(["sky", "ground", ""])), area_share, paints, draw(additions()))


@st.composite
def recipes(draw):
    thickness = draw(st.sampled_from([2.0, 10.0, 15.0, 30.0, 50.0, 60.0, 120.0, 200.0, 400.0, 900.0]))
    share = draw(st.sampled_from([1.0, 0.6, 0.1]))
    parts = [draw(mixes(share))]
    if share < 1.0:
        parts.append(draw(mixes(1.0 - share)))
    if draw(st.integers(0, 7)) == 0:  # touches on part of the picture
        parts = [draw(mixes(0.2))]
    return LayerRecipe(thickness, Ground.PAINT, tuple(parts))


@st.composite
def stage_times(draw):
    touch = draw(st.floats(0.3, 25.0))
    return times(touch, touch * draw(st.floats(2.0, 12.0)), draw(st.sampled_from([1.0, 1.3, 1.8, 2.5])))


@st.composite
def painted(draw, age_d):
    material = draw(st.sampled_from([Material.OIL] * 7 + list(Material)))
    observed = draw(st.sampled_from([None, None, FilmState.WET, FilmState.TACKY, FilmState.TOUCH_DRY, FilmState.FIRM]))
    known = material in (Material.OIL, Material.ALKYD)
    return PaintedLayer(
        material,
        age_d,
        draw(stage_times()) if known else {},
        draw(recipes()) if known or material is Material.ACRYLIC else None,
        draw(st.sampled_from([None, "matte", "gloss"])),
        observed,
        None if observed is None else age_d * draw(st.floats(0.0, 1.0)),
    )


@st.composite
def stacks(draw, least=0):
    count = draw(st.integers(least, 3))
    ages = sorted((draw(st.floats(0.0, 250.0)) for _ in range(count)), reverse=True)
    return tuple(draw(painted(age_d)) for age_d in ages)


@st.composite
def grounds(draw):
    kind = draw(st.sampled_from(["acrylic", "oil", "glue_chalk", "none"]))
    pigments = draw(st.sampled_from([(), ("PW4",), ("PW6", "PW4"), ("PBr7",)])) if kind == "oil" else ()
    surface = draw(st.sampled_from(["absorbent", "matte", "sealed", "gloss"]))
    return GroundFacts(kind, draw(st.one_of(st.none(), st.floats(0.0, 400.0))), surface, pigments)


@st.composite
def new_layers(draw, same_session=False):
    material = draw(st.sampled_from([Material.OIL] * 6 + [Material.ALKYD, Material.ACRYLIC]))
    return NewLayer(material, draw(stage_times()), draw(recipes()), same_session)


@st.composite
def situations(draw, actions=tuple(Action), same_session=False, least=0):
    action = draw(st.sampled_from(actions))
    painting = action in (Action.NEXT_LAYER, Action.WORK_LIGHTLY, Action.OIL_OUT)
    upper = draw(new_layers(same_session)) if painting and draw(st.integers(0, 9)) else None
    return Situation(
        support=draw(st.sampled_from(["rigid", "stretched"])),
        ground=draw(grounds()),
        stack=draw(stacks(least)),
        upper=upper,
        action=action,
        paint_ml=draw(st.floats(1.0, 50.0)),
        area_cm2=draw(st.one_of(st.none(), st.floats(50.0, 5000.0))),
        couch_ml=draw(st.one_of(st.none(), st.floats(0.0, 5.0))),
        transit_c=draw(st.one_of(st.none(), st.floats(-20.0, 45.0))),
        drops_per_ml=draw(st.floats(15.0, 30.0)),
    )


PAINTING = (Action.NEXT_LAYER, Action.WORK_LIGHTLY)
