"""The demo's panels, each with its story, in days before and after the day the demo is made. All of it is invented."""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Pressed:
    """A touch test so many days before now: whole days at the painting hour, others to the minute."""

    days_ago: float
    stage: str
    where: str = ""
    note: str = ""


@dataclass(frozen=True)
class LayerStory:
    """``regions``: mix, per cent of the area, name of the region. Painted ``days_ago``, or planned (None). ``because``:
    why it went on although a rule spoke against it."""

    kind: str
    wet_um: float
    regions: tuple[tuple[str, float, str], ...]
    days_ago: float | None = None
    planned_in: int | None = None
    solvent_pct: float = 0.0
    sitting_min: int = 90
    material: str = "oil"
    texture: str = "smooth"
    wet_in_wet: bool = False
    notes: str = ""
    tests: tuple[Pressed, ...] = ()
    because: str = ""


@dataclass(frozen=True)
class StepStory:
    """A step of the finish, done so many days ago or planned in so many; ``because`` as for a layer."""

    action: str
    done_days_ago: float | None = None
    planned_in: int | None = None
    transit_c: float | None = None
    note: str = ""
    because: str = ""


@dataclass(frozen=True)
class Tried:
    """A swab, a turned thumb or a fingernail in the finished picture."""

    days_ago: float
    method: str
    result: str
    where: str = ""
    note: str = ""


@dataclass(frozen=True)
class SittingStory:
    """The end of a sitting; ``left``: mix, millilitres, how it is kept. ``sees_tubes``: every tube was looked at."""

    days_ago: float
    rags: str
    left: tuple[tuple[str, float, str], ...] = ()
    note: str = ""
    sees_tubes: bool = False


@dataclass(frozen=True)
class PanelStory:
    title: str
    size_cm: tuple[float, float]  # width, height
    support: str
    layers: tuple[LayerStory, ...]
    ground_kind: str = "acrylic"
    ground_surface: str = "matte"
    ground_days_ago: int = 60
    place: str = "Easel room"
    due_in: int | None = None
    due_for: str = ""
    finished_days_ago: int | None = None
    notes: str = field(default="")
    steps: tuple[StepStory, ...] = ()
    finish_tests: tuple[Tried, ...] = ()


PANELS = (
    PanelStory(
        "Two pears on a grey cloth",
        (40, 30),
        "hardboard",
        (
            LayerStory(
                "underpainting",
                40,
                (("First grey", 100, ""),),
                days_ago=3.05,
                solvent_pct=50,
                sitting_min=75,
                tests=(Pressed(0.1, "tacky", "upper edge"),),
            ),
            LayerStory("block-in", 40, (("First grey", 100, "cloth and wall"),), planned_in=2),
            LayerStory("second painting", 50, (("Warm light", 35, "pears"), ("First grey", 65, "")), planned_in=9),
        ),
        due_in=75,
        due_for="spring group show",
        notes="Gesso-primed hardboard. Keep the cloth cool.",
    ),
    PanelStory(
        "Harbour wall, low tide",
        (60, 40),
        "canvas_on_board",
        (
            LayerStory("imprimatura", 20, (("Umber wash", 100, ""),), days_ago=24, solvent_pct=50, sitting_min=20),
            LayerStory(
                "block-in",
                45,
                (("Sea", 60, "water"), ("Rich grey", 40, "wall")),
                days_ago=13,
                sitting_min=150,
                texture="fine_canvas",
                tests=(Pressed(7, "tacky", "lower left corner"), Pressed(0.4, "touch_dry", "lower left corner")),
            ),
            LayerStory("second painting", 50, (("Storm grey", 100, ""),), planned_in=0, sitting_min=120),
        ),
        due_in=60,
        due_for="commission",
    ),
    PanelStory(
        "The coat on the chair",
        (50, 70),
        "hardboard",
        (
            LayerStory("imprimatura", 20, (("Umber wash", 100, ""),), days_ago=30, solvent_pct=50, sitting_min=20),
            LayerStory(
                "block-in",
                45,
                (("Umber shadow", 65, "wall and floor"), ("Black coat", 35, "coat")),
                days_ago=6,
                sitting_min=160,
                tests=(Pressed(2, "wet", "sleeve"),),
            ),
            LayerStory("second painting", 50, (("Warm light", 40, "window"), ("Umber shadow", 60, "")), planned_in=4),
        ),
        notes="The black holds everything up.",
    ),
    PanelStory(
        "Storm over the flats",
        (90, 60),
        "stretched_canvas",
        (
            LayerStory(
                "underpainting",
                30,
                (("Umber wash", 100, ""),),
                days_ago=65,
                solvent_pct=40,
                sitting_min=60,
                tests=(Pressed(64, "tacky"), Pressed(63, "touch_dry")),
            ),
            LayerStory(
                "impasto",
                600,
                (("Impasto white", 30, "cloud"), ("Storm grey", 70, "sky and land")),
                days_ago=32,
                sitting_min=240,
                texture="fine_canvas",
                tests=(
                    Pressed(14, "wet", "edge of the cloud"),
                    Pressed(5, "touch_dry", "edge of the cloud", "skin only, it gives"),
                ),
            ),
            LayerStory("glaze", 12, (("Rain glaze", 100, ""),), planned_in=3),
        ),
        ground_surface="absorbent",
    ),
    PanelStory(
        "Red door",
        (30, 40),
        "plywood",
        (
            LayerStory(
                "underpainting",
                30,
                (("Alkyd ground red", 100, ""),),
                days_ago=4,
                material="alkyd",
                tests=(Pressed(2, "tacky", "upper edge"), Pressed(0.5, "touch_dry", "upper edge")),
            ),
            LayerStory("second painting", 45, (("Door red", 80, "door"), ("Umber shadow", 20, "step")), planned_in=0),
        ),
        due_in=45,
        due_for="commission",
    ),
    PanelStory(
        "Field, first frost",
        (70, 50),
        "hardboard",
        (
            LayerStory("block-in", 45, (("Frosted green", 70, "field"), ("Sky", 30, "sky")), days_ago=2),
            LayerStory("second painting", 55, (("Frosted green", 60, "field"), ("Sky", 40, "sky")), planned_in=7),
            LayerStory("detail", 40, (("Deep green", 20, "hedge"), ("Warm light", 80, "grass")), planned_in=14),
        ),
        due_in=12,
        due_for="winter window of a gallery",
    ),
    PanelStory(
        "Lemons, blue bowl",
        (35, 35),
        "hardboard",
        (
            LayerStory(
                "underpainting",
                30,
                (("First grey", 100, ""),),
                days_ago=120,
                solvent_pct=40,
                tests=(Pressed(116, "wet"), Pressed(113, "touch_dry")),
            ),
            LayerStory(
                "block-in",
                45,
                (("Lemon", 30, "lemons"), ("Blue bowl", 70, "bowl")),
                days_ago=98,
                tests=(Pressed(88, "tacky", "table edge"), Pressed(84, "touch_dry", "table edge")),
            ),
            LayerStory(
                "second painting",
                50,
                (("Lemon", 30, "lemons"), ("Blue bowl", 70, "bowl")),
                days_ago=71,
                tests=(
                    Pressed(60, "tacky", "table edge"),
                    Pressed(50, "touch_dry", "table edge"),
                    Pressed(12, "firm", "table edge"),
                ),
            ),
        ),
        finished_days_ago=71,
        due_in=150,
        due_for="collection once varnished",
        place="Drying rack",
        steps=(
            StepStory(
                "wrap",
                done_days_ago=60,
                note="To the photographer and back",
                because="Only for the way, in a folder that stands off the face.",
            ),
            StepStory("temporary_varnish", done_days_ago=36, note="Thinned, one coat, for the photographs"),
            StepStory("frame", done_days_ago=20, note="Limewood, on cork spacers"),
            StepStory("final_varnish", planned_in=125),
            StepStory("ship", planned_in=148, transit_c=12.0, note="The buyer's own car"),
        ),
        finish_tests=(
            Tried(45, "nail", "dent", "thick yellow under the rebate"),
            Tried(12, "nail", "no_dent", "thick yellow under the rebate", "hard as far as a nail tells"),
        ),
    ),
    PanelStory(
        "Marsh at noon",
        (40, 40),
        "hardboard",
        (
            LayerStory(
                "underpainting",
                30,
                (("Umber wash", 100, ""),),
                days_ago=8,
                solvent_pct=40,
                tests=(Pressed(7, "tacky", "lower right corner"), Pressed(1, "firm", "lower right corner")),
            ),
            LayerStory("block-in", 45, (("Frosted green", 55, "reeds"), ("Sky", 45, "sky")), planned_in=0),
        ),
        due_in=90,
        due_for="spring group show",
    ),
    PanelStory(
        "Night window",
        (24, 30),
        "solid_wood",
        (LayerStory("imprimatura", 20, (("Umber wash", 100, ""),), planned_in=0, solvent_pct=50, sitting_min=20),),
        ground_kind="glue_chalk",
        ground_surface="absorbent",
    ),
    PanelStory(
        "Heron, grey morning",
        (50, 40),
        "hardboard",
        (
            LayerStory(
                "imprimatura",
                20,
                (("Umber wash", 100, ""),),
                days_ago=22,
                solvent_pct=50,
                sitting_min=20,
                tests=(Pressed(21, "tacky"), Pressed(20, "touch_dry")),
            ),
            LayerStory("block-in", 40, (("Rich grey", 70, "air"), ("Storm grey", 30, "bird")), days_ago=12),
            LayerStory("second painting", 50, (("Rich grey", 60, "air"), ("Warm light", 40, "water")), planned_in=1),
        ),
        place="Drying rack",
    ),
    PanelStory(
        "Orchard in rain",
        (80, 60),
        "stretched_linen",
        (
            LayerStory(
                "block-in",
                40,
                (("Frosted green", 100, ""),),
                days_ago=45,
                texture="fine_canvas",
                tests=(Pressed(41, "tacky"), Pressed(40, "touch_dry")),
            ),
            LayerStory(
                "second painting",
                50,
                (("Blossom", 35, "blossom"), ("Frosted green", 65, "")),
                days_ago=26,
                texture="fine_canvas",
                tests=(Pressed(19, "tacky", "left edge"), Pressed(6, "touch_dry", "left edge")),
                because="The blossom wants this white; the rest of the picture has none of it.",
            ),
            LayerStory("glaze", 12, (("Rain glaze", 100, ""),), planned_in=1, sitting_min=45),
        ),
        notes="Zinc white in the blossom: mind it on linen.",
    ),
    PanelStory(
        "Old boat, wet sand",
        (45, 30),
        "hardboard",
        (
            LayerStory("block-in", 45, (("Warm light", 60, "sand"), ("Storm grey", 40, "boat")), days_ago=0.12),
            LayerStory("detail", 30, (("Umber shadow", 10, "ribs"), ("Warm light", 90, "")), planned_in=8),
        ),
    ),
    PanelStory(
        "Sleeping child, study",
        (30, 24),
        "hardboard",
        (
            LayerStory(
                "underpainting",
                30,
                (("Umber wash", 100, ""),),
                days_ago=20,
                solvent_pct=40,
                tests=(Pressed(19, "tacky"), Pressed(18, "touch_dry")),
            ),
            LayerStory(
                "block-in",
                40,
                (("Flesh", 60, "face and hand"), ("Umber shadow", 40, "blanket")),
                days_ago=7,
                tests=(
                    Pressed(4, "tacky", "corner of the blanket"),
                    Pressed(3, "touch_dry", "corner of the blanket"),
                ),
            ),
            LayerStory("second painting", 40, (("Flesh", 70, "face and hand"), ("Sky", 30, "blanket")), planned_in=0),
        ),
        due_in=30,
        due_for="a birthday",
        notes="Lead white in the flesh: no dry sanding.",
    ),
)

SITTINGS = (
    SittingStory(5, "spread", (("Black coat", 4, "sealed"), ("Umber shadow", 6, "tray")), sees_tubes=True),
    SittingStory(1, "water", (("Frosted green", 8, "fridge"), ("Sky", 5, "fridge")), "Green and sky for next week"),
)
