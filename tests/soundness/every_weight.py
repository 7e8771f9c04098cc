"""A situation for every weight that every rule can come to, so that nothing said or promised goes unlooked at.

What each is to come to is held by ``test_every_weight.py``. Basis: derived from the rules as written.
"""

from dataclasses import replace

from server.science.recipe import Addition, AdditionKind, LayerRecipe
from server.science.results import FilmState
from server.science.soundness import Action, GroundFacts, Material, NewLayer, PaintedLayer, Situation, SwabTest
from tests.soundness.builders import (
    TACKY_D,
    THROUGH_D,
    TOUCH_DRY_D,
    WET_D,
    ask,
    coming,
    layer,
    mix,
    more,
    oil,
    solvent,
    there,
    times,
    tube,
    umber,
)

ALKYD = Addition(AdditionKind.ALKYD_MEDIUM, parts=6.0, non_volatile=0.5)
DRIER = Addition(AdditionKind.DRIER, metal="Co", percent_on_oil=0.1)
ZINC = layer(mix(paint=tube("PW4")))
QUICK, QUITE_QUICK, SLOW = times(1.0), times(2.5), times(4.0)
BARE = {"acrylic matt": GroundFacts("acrylic", 60.0, "matte"), "sealed": GroundFacts("none", None, "sealed")}


def absorbent() -> GroundFacts:
    return GroundFacts("acrylic", 60.0, "absorbent")


def waxy(share: float) -> LayerRecipe:
    return layer(mix(oil(10.0 * (1.0 - share)), more(AdditionKind.WAX, 10.0 * share), paint=tube(parts=100.0)))


def rich(parts: float) -> LayerRecipe:
    return layer(mix(oil(parts)))


def on(lower: PaintedLayer, upper: NewLayer | None = None, **fields: object) -> Situation:
    return ask([lower], upper or coming(), **fields)  # type: ignore[arg-type]


def finish(action: Action, age_d: float, swab: SwabTest | None = None, **fields: object) -> Situation:
    made = ask([there(age_d=age_d)], None, action, **fields)
    return replace(made, swab=swab)


SITUATIONS: tuple[Situation, ...] = (
    # R01, R02, R08
    on(there(rich(1.0), THROUGH_D)),
    on(there(rich(1.0), TOUCH_DRY_D)),
    on(there(rich(2.0), TOUCH_DRY_D)),
    on(there(rich(2.0), THROUGH_D)),
    on(there(age_d=TOUCH_DRY_D), coming(stages=QUITE_QUICK)),
    on(there(age_d=TOUCH_DRY_D), coming(stages=QUICK)),
    *(ask((), coming(rich(parts))) for parts in (2.8, 5.0, 9.0)),
    # R03 to R07, R09
    on(there(age_d=TACKY_D)),
    on(there(age_d=WET_D), coming(same_session=True)),
    ask([there(age_d=TACKY_D)], coming(), Action.WORK_LIGHTLY),
    on(there(layer(um=900.0), 30.0, times(9.0, 400.0))),
    on(there(layer(um=900.0), 30.0, times(9.0, 400.0)), coming(layer(mix(area=0.1, name="lights")))),
    on(there(layer(um=200.0), TOUCH_DRY_D), coming(layer(um=30.0))),
    *(ask((), coming(layer(mix(oil(2.0)), um=um))) for um in (150.0, 400.0)),
    # R10 to R13
    ask((), coming(layer(mix(solvent(6.0)))), ground=absorbent()),
    *(ask((), coming(layer(mix(solvent(parts)))), ground=BARE["sealed"]) for parts in (6.0, 20.0)),
    *(on(there(age_d=TOUCH_DRY_D), coming(layer(mix(solvent(parts))))) for parts in (4.0, 9.0)),
    # R14, R15, R16, R17
    on(there(age_d=200.0)),
    on(there(age_d=TOUCH_DRY_D), coming(stages=times(3.9), material=Material.ALKYD)),
    on(there(age_d=TOUCH_DRY_D), coming(stages=QUICK, material=Material.ALKYD)),
    on(there(age_d=THROUGH_D, material=Material.ALKYD, surface="gloss")),
    on(there(age_d=TOUCH_DRY_D), coming(layer(mix(DRIER)))),
    on(there(layer(um=120.0), TOUCH_DRY_D), coming(layer(mix(DRIER)))),
    # R18, R19
    on(there(age_d=THROUGH_D), coming(layer(mix(oil(1.0), more(AdditionKind.SOFT_RESIN, 0.5))))),
    on(there(layer(mix(oil(1.0), more(AdditionKind.SOFT_RESIN, 0.5))), THROUGH_D)),
    *(on(there(age_d=THROUGH_D), coming(waxy(share)), support="stretched") for share in (0.15, 0.25, 0.4)),
    # R20 to R22
    on(there(ZINC, THROUGH_D)),
    on(there(ZINC, THROUGH_D), support="stretched"),
    ask((), coming(ZINC), ground=BARE["sealed"]),
    ask((), coming(ZINC), support="stretched"),
    # R23 to R25
    on(there(age_d=THROUGH_D), coming(material=Material.ACRYLIC)),
    ask([there(age_d=400.0), there(None, 30.0, {}, material=Material.ACRYLIC)], coming()),
    *(on(there(layer(um=30.0), age_d, {}, material=Material.ACRYLIC, surface="matte")) for age_d in (2.0, 5.0)),
    on(there(layer(um=200.0), 60.0, {}, material=Material.ACRYLIC, surface="gloss")),
    *(ask((), coming(), ground=GroundFacts("oil", age_d, "matte")) for age_d in (5.0, 60.0)),
    # R26 to R29
    on(there(layer(mix(paint=tube("PBk9")), um=60.0), TOUCH_DRY_D)),
    on(there(layer(mix(paint=tube("NBr6"))), THROUGH_D)),
    *(ask((), coming(layer(mix(Addition(AdditionKind.CLOVE_OIL, drops_per_10_ml=drops))))) for drops in (2.0,)),
    on(there(layer(mix(paint=tube(binder="poppy"))), TOUCH_DRY_D)),
    # R30 to R34
    *(ask([there(age_d=THROUGH_D)], coming(), Action.OIL_OUT, area_cm2=1000.0, couch_ml=ml) for ml in (0.1, 1.0)),
    ask([there(age_d=THROUGH_D)], None, Action.OIL_OUT, area_cm2=1000.0),
    ask([there(age_d=THROUGH_D), there(None, 2.0, {}, material=Material.RETOUCH_VARNISH)], coming()),
    ask([there(age_d=THROUGH_D), *[there(None, 2.0, {}, material=Material.RETOUCH_VARNISH)] * 2], coming()),
    on(there(ZINC, THROUGH_D), support="stretched"),
    on(there(None, 9000.0, {}, material=Material.OLD_PAINTING)),
    ask([there(layer(mix(paint=tube("PW1"))), 300.0)], None, Action.ABRADE),
    ask([there(layer(mix(paint=umber())), 300.0)], None, Action.ABRADE),
    # R35, R36
    finish(Action.FINAL_VARNISH, 45.0),
    finish(Action.FINAL_VARNISH, 400.0),
    finish(Action.FINAL_VARNISH, 400.0, swab=SwabTest(True, 400.0)),
    *(finish(Action.TEMPORARY_VARNISH, age_d) for age_d in (10.0, 20.0, 60.0)),
    *(finish(action, age_d) for action in (Action.FRAME, Action.STACK, Action.WRAP) for age_d in (3.0, 12.0, 25.0)),
    *(finish(action, age_d) for action in (Action.FRAME_GLAZED, Action.SHIP) for age_d in (3.0, 12.0)),
    *(finish(Action.SHIP, 200.0, transit_c=degrees, support="stretched") for degrees in (8.0, 3.0, -5.0, 35.0)),
    # R37, R38
    on(there(age_d=TOUCH_DRY_D, stages=times(4.0, 60.0)), coming(layer(mix(oil(4.0)), um=15.0))),
    ask(
        [there(age_d=age_d, stages=times(2.0, 60.0)) for age_d in (9.0, 5.0, 1.0)],
        coming(stages=times(2.0, 60.0)),
    ),
    # What a press says that the model does not
    on(there(age_d=3.0, observed=FilmState.TOUCH_DRY, observed_age_d=3.0)),
)
