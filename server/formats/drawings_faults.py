"""What goes wrong: a small cut through the paint for each kind of fault, drawn like the cross-section.

Nothing here is to scale and nothing is measured: heights and openings are drawn large enough to be understood.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.formats.drawings import BOARD_COLOUR, GROUND_COLOUR, Point, number, polygon
from server.science.soundness import Fault

WIDTH, HEIGHT = 380.0, 176.0
LEFT, RIGHT = 8.0, 232.0  # the sample
GROUND_Y, SUPPORT_Y, FLOOR_Y = 130.0, 142.0, 170.0
LABEL_X = 246.0
UPPER, LOWER, SOFT, OIL, SKIN, GLOSS = "#7a4a2b", "#c08f3f", "#dcb566", "#ecd68f", "#9a6a26", "#d8c694"
STEPS = 84


@dataclass(frozen=True, slots=True)
class FaultShape:
    """``kind``: film, line, crack, arrow, grain or tool; films and grains are filled with ``colour``."""

    kind: str
    path: str
    colour: str = ""


@dataclass(frozen=True, slots=True)
class FaultLabel:
    """Words at the right with a leader to what they name."""

    text: str
    x: float
    y: float
    leader: str


@dataclass(frozen=True, slots=True)
class FaultDrawing:
    """Everything a template needs; ``desc`` says in words what the picture shows."""

    key: str
    title: str
    desc: str
    shapes: tuple[FaultShape, ...]
    labels: tuple[FaultLabel, ...]
    width: float = WIDTH
    height: float = HEIGHT


@dataclass(frozen=True, slots=True)
class _Scene:
    """Shapes from the back to the front; ``points``: words, and the place in the picture that they name."""

    title: str
    desc: str
    shapes: Sequence[FaultShape]
    points: Sequence[tuple[str, Point]]


def fault_drawing(fault: Fault) -> FaultDrawing:
    """The drawing of a kind of fault."""
    scene = SCENES[fault]()
    labels = []
    for place, (text, (x, y)) in enumerate(scene.points):
        label_y = 26.0 + place * (124.0 / max(1, len(scene.points) - 1))
        leader = polygon([(LABEL_X - 4, label_y - 4), (RIGHT + 2, y), (x, y)], close=False)
        labels.append(FaultLabel(text, LABEL_X, label_y, leader))
    return FaultDrawing(fault.value, scene.title, scene.desc, (*_base(), *scene.shapes), tuple(labels))


def every_fault() -> tuple[FaultDrawing, ...]:
    """One drawing of each kind."""
    return tuple(map(fault_drawing, Fault))


def _base() -> tuple[FaultShape, ...]:
    return (
        _film([(LEFT, SUPPORT_Y), (RIGHT, SUPPORT_Y)], FLOOR_Y, BOARD_COLOUR),
        _flat(GROUND_Y, SUPPORT_Y, GROUND_COLOUR),
    )


def _flat(top: float, bottom: float, colour: str, x0: float = LEFT, x1: float = RIGHT) -> FaultShape:
    """A film with a barely rippled top."""
    return _film(_ripple(top, 1.2, 2.0, x0, x1), bottom, colour)


def _film(top: Sequence[Point], bottom: float, colour: str) -> FaultShape:
    return FaultShape("film", polygon([*top, (top[-1][0], bottom), (top[0][0], bottom)]), colour)


def _ripple(y: float, height: float, waves: float, x0: float = LEFT, x1: float = RIGHT) -> list[Point]:
    """A wavy line around ``y``, with so many waves over the whole sample's width."""
    turns = [2 * math.pi * waves * step / STEPS * (x1 - x0) / (RIGHT - LEFT) for step in range(STEPS + 1)]
    return [(x0 + (x1 - x0) * step / STEPS, y - height * math.sin(turn)) for step, turn in enumerate(turns)]


def _line(points: Sequence[Point], kind: str = "line") -> FaultShape:
    return FaultShape(kind, polygon(points, close=False))


def _arrow(start: Point, end: Point) -> FaultShape:
    """A shaft with an open head."""
    angle = math.atan2(end[1] - start[1], end[0] - start[0])
    barbs = [(end[0] - 6 * math.cos(angle + turn), end[1] - 6 * math.sin(angle + turn)) for turn in (0.5, -0.5)]
    return FaultShape("arrow", polygon([start, end], False) + polygon([barbs[0], end, barbs[1]], False))


def _grain(x: float, y: float, radius: float, colour: str) -> FaultShape:
    r = number(radius)
    arc = f"a{r} {r} 0 1 0"
    return FaultShape(
        "grain", f"M{number(x - radius)} {number(y)}{arc} {number(2 * radius)} 0{arc} {number(-2 * radius)} 0Z", colour
    )


def _island(x0: float, x1: float, top: float, bottom: float, colour: str = UPPER) -> FaultShape:
    """A torn piece of film: narrower at its upper edge, as paint that was pulled."""
    return FaultShape("film", polygon([(x0 + 6, top), (x1 - 6, top), (x1, bottom), (x0, bottom)]), colour)


def _brush(x: float, y: float) -> tuple[FaultShape, ...]:
    """A brush that comes from the upper right and ends at a place."""
    hair = polygon([(x, y), (x + 10, y - 20), (x + 22, y - 14)])
    handle = polygon([(x + 12, y - 22), (x + 36, y - 62), (x + 44, y - 57), (x + 23, y - 15)])
    return FaultShape("tool", hair), FaultShape("tool", handle)


def _drying_cracks() -> _Scene:
    bulges = [
        (LEFT, 86.0),
        (70.0, 86.0),
        (82.0, 74.0),
        (94.0, 86.0),
        (146.0, 86.0),
        (158.0, 74.0),
        (170.0, 86.0),
        (RIGHT, 86.0),
    ]
    islands = [_island(LEFT, 80, 58, 88), _island(86, 154, 58, 88), _island(162, RIGHT, 58, 88)]
    arrows = [_arrow((110, 110), (74, 110)), _arrow((130, 110), (166, 110))]
    return _Scene(
        "Drying cracks",
        "A stiff upper film is torn into islands. The film below is still soft, moves apart and swells up in the gaps.",
        [_film(bulges, GROUND_Y, SOFT), *islands, *arrows],
        [("stiff film, torn", (200, 66)), ("gap", (160, 78)), ("soft, still moving", (210, 112))],
    )


def _quick_over_slow() -> _Scene:
    cracks = [_line([(x, 56), (x + 3, 68), (x - 2, 78), (x + 1, 90)], "crack") for x in (46, 98, 142, 190)]
    arrows = [_arrow((24, 112), (66, 112)), _arrow((216, 112), (174, 112))]
    return _Scene(
        "Quick over slow",
        "The upper film is hard already. The slower film below still shrinks and pulls at it: fine cracks.",
        [_flat(88, GROUND_Y, LOWER), _flat(56, 89, UPPER), *cracks, *arrows],
        [("hard already", (214, 66)), ("fine cracks", (190, 80)), ("still shrinking", (214, 118))],
    )


def _soft_below() -> _Scene:
    rolled = [
        (LEFT, 92.0),
        (92.0, 92.0),
        (104.0, 88.0),
        (110.0, 70.0),
        (124.0, 58.0),
        (138.0, 66.0),
        (136.0, 82.0),
        (128.0, 92.0),
    ]
    smear = [*rolled, (140.0, 108.0), (176.0, 114.0), (RIGHT, 116.0)]
    return _Scene(
        "Dragged and lifted",
        "A brush drags through paint that has begun to set. The soft film rolls up and is nearly gone behind.",
        [_film(smear, GROUND_Y, SOFT), _line(smear), *_brush(146, 106), _arrow((92, 40), (56, 40))],
        [("brush", (178, 54)), ("rolls up", (124, 72)), ("scraped thin", (206, 120))],
    )


def _skinned() -> _Scene:
    mound = [(LEFT, 122.0), (40.0, 104.0), (74.0, 72.0), (118.0, 60.0), (164.0, 70.0), (200.0, 102.0), (RIGHT, 122.0)]
    skin = [(x, y - 5) for x, y in mound]
    left, right = [(40.0, 91.0), (72.0, 58.0), (108.0, 47.0)], [(128.0, 47.0), (168.0, 57.0), (200.0, 89.0)]
    covers = [
        FaultShape("film", polygon([*part, *((x, y + 8) for x, y in reversed(part))]), UPPER) for part in (left, right)
    ]
    arrows = [_arrow((118, 84), (118, 108)), _arrow((84, 96), (100, 108)), _arrow((152, 96), (136, 108))]
    return _Scene(
        "Skin over a soft core",
        "Thick paint is dry at its skin only. The core shrinks, and a thin film over it is pulled apart.",
        [_film(skin, GROUND_Y, SKIN), _film(mound, GROUND_Y, SOFT), *covers, *arrows],
        [("new film, torn", (150, 52)), ("skin", (188, 86)), ("soft core, shrinking", (176, 116))],
    )


def _wrinkles() -> _Scene:
    folds = _ripple(68, 9, 7)
    skin = [*folds, *((x, y + 7) for x, y in reversed(folds))]
    drops = [_grain(x, y, 2.2, OIL) for x, y in ((40, 100), (78, 112), (112, 96), (150, 110), (190, 100), (214, 116))]
    return _Scene(
        "Wrinkles",
        "The skin of a rich or thick film grows on over liquid paint, has nowhere to go, and lies in folds.",
        [_film(_ripple(72, 9, 7), GROUND_Y, SOFT), FaultShape("film", polygon(skin), SKIN), *drops],
        [("skin, in folds", (212, 64)), ("surplus oil", (190, 100)), ("liquid below", (206, 122))],
    )


def _sunken() -> _Scene:
    grains = [_grain(18 + 15 * n, 97 + 6 * ((n * 0.618) % 1) + 9 * (n % 3), 6 - n % 2, UPPER) for n in range(14)]
    arrows = [_arrow((x, 120), (x, 140)) for x in (44, 96, 148, 200)]
    return _Scene(
        "Sunken and weak",
        "Oil has gone into the ground or was thinned away. Pigment stands bare on top: matt, powdery, weak.",
        [_flat(112, GROUND_Y, OIL), *grains, *arrows],
        [("pigment left bare", (213, 98)), ("too little oil", (228, 118)), ("drawn down", (204, 134))],
    )


def _peeling() -> _Scene:
    curl = [(LEFT, 74.0), (120.0, 74.0), (156.0, 62.0), (184.0, 40.0), (200.0, 22.0)]
    under = [(206.0, 32.0), (192.0, 52.0), (164.0, 76.0), (126.0, 90.0), (LEFT, 90.0)]
    return _Scene(
        "Peeling",
        "The new film has found no hold on the one below. It lifts off as a flake, and its edge curls up.",
        [
            _flat(90, GROUND_Y, LOWER),
            _line([(LEFT, 90), (RIGHT, 90)]),
            FaultShape("film", polygon([*curl, *under]), UPPER),
        ],
        [("curls up", (196, 34)), ("no hold", (190, 82)), ("slick, old or soapy", (214, 108))],
    )


def _brittle() -> _Scene:
    bend = [(x, y + 10) for x, y in _ripple(132, 9, 1)]
    pieces = []
    for x0, x1, shift in ((LEFT, 62, -6), (66, 118, -7), (122, 174, 3), (178, RIGHT, 5)):
        pieces += [
            FaultShape(
                "film", polygon([(x0, 84 + shift), (x1, 84 + shift), (x1, 132 + shift), (x0, 132 + shift)]), LOWER
            ),
            FaultShape(
                "film", polygon([(x0, 64 + shift), (x1, 64 + shift), (x1, 85 + shift), (x0, 85 + shift)]), UPPER
            ),
        ]
    weave = [_line([(x, y + 7), (x + 4, y + 12)]) for x, y in bend[1::2]]
    return _Scene(
        "Brittle on what moves",
        "The support moves with the weather, or when it is carried. A stiff layer cannot, and breaks through.",
        [
            _film(bend, FLOOR_Y, BOARD_COLOUR),
            *pieces,
            *weave,
            _arrow((64, 164), (24, 164)),
            _arrow((176, 164), (216, 164)),
        ],
        [("taken along", (210, 76)), ("stiff layer, broken", (214, 112)), ("support moves", (222, 158))],
    )


def _never_dry() -> _Scene:
    flow = [(LEFT, 96.0), (50.0, 92.0), (100.0, 104.0), (150.0, 108.0), (200.0, 94.0), (RIGHT, 98.0)]
    islands = [_island(14, 60, 66, 95), _island(98, 136, 76, 106), _island(186, 226, 66, 96)]
    return _Scene(
        "Never dry",
        "What lies below never hardens and goes on flowing. The paint on it drifts apart into islands with wide gaps.",
        [_film(flow, GROUND_Y, SOFT), _line(flow), *islands, _arrow((94, 86), (68, 82)), _arrow((142, 86), (176, 80))],
        [("drifts apart", (206, 76)), ("wide gap", (162, 96)), ("stays soft for good", (216, 114))],
    )


def _shut_in() -> _Scene:
    arrows = [_arrow((x, 112), (x, 78)) for x in (48, 104, 160)]
    stops = [_line([(x - 9, 73), (x + 9, 73)], "crack") for x in (48, 104, 160)]
    air = [_arrow((x, 26), (x, 46)) for x in (76, 132, 188)]
    return _Scene(
        "Shut in",
        "A layer, a varnish or a wrap lies over paint that still wants air. The paint stays soft and takes prints.",
        [_flat(70, GROUND_Y, SOFT), _flat(50, 70, GLOSS), *arrows, *stops, *air],
        [("air kept out", (190, 36)), ("cover", (218, 60)), ("still soft", (214, 108))],
    )


def _soluble() -> _Scene:
    flake = FaultShape("film", polygon([(108, 66), (170, 46), (174, 60), (112, 82)]), UPPER)
    holes = [_flat(86, 98, GLOSS, LEFT, 84), _flat(86, 98, GLOSS, 192, RIGHT)]
    films = [_flat(64, 86, UPPER, LEFT, 84), _flat(64, 86, UPPER, 192, RIGHT)]
    swab = FaultShape("tool", polygon([(120, 40), (132, 30), (204, 8), (207, 14), (140, 42), (126, 48)]))
    drops = [_grain(x, 92, 2, GLOSS) for x in (98, 118, 140, 162, 180)]
    return _Scene(
        "Dissolved at the next cleaning",
        "A swab with solvent dissolves the resin between or within the layers, and the paint above comes away with it.",
        [_flat(98, GROUND_Y, LOWER), *holes, *films, flake, *drops, swab],
        [("swab with solvent", (190, 16)), ("comes away", (164, 56)), ("soluble layer", (222, 92))],
    )


def _dust() -> _Scene:
    rough = [(LEFT + 8 * n, 84.0 + (6 if n % 2 else 0) + 3 * ((n * 0.618) % 1)) for n in range(29)]
    dust = [_grain(40 + (n * 47.3) % 150, 24 + (n * 29.7) % 48, 1.2 + (n % 3) * 0.5, OIL) for n in range(26)]
    block = FaultShape("tool", polygon([(70, 60), (150, 60), (150, 82), (70, 82)]))
    return _Scene(
        "Dust in the air",
        "Paint is rubbed down dry. Its pigment rises as fine dust that hangs in the air and is breathed in.",
        [_film(rough, GROUND_Y, LOWER), block, *dust, _arrow((160, 72), (196, 72))],
        [("dust, breathed in", (196, 40)), ("rubbed down dry", (150, 66)), ("old paint", (214, 112))],
    )


SCENES: dict[Fault, Callable[[], _Scene]] = {
    Fault.DRYING_CRACKS: _drying_cracks,
    Fault.QUICK_OVER_SLOW: _quick_over_slow,
    Fault.SOFT_BELOW: _soft_below,
    Fault.SKINNED: _skinned,
    Fault.WRINKLES: _wrinkles,
    Fault.SUNKEN: _sunken,
    Fault.PEELING: _peeling,
    Fault.BRITTLE: _brittle,
    Fault.NEVER_DRY: _never_dry,
    Fault.SHUT_IN: _shut_in,
    Fault.SOLUBLE: _soluble,
    Fault.DUST: _dust,
}
