"""The stylesheet's colours: WCAG 2.2 contrast by daylight and lamplight, and states that stay apart for every eye.

Contrast: W3C, WCAG 2.2, success criteria 1.4.3 (text, 4.5) and 1.4.11 (shapes and controls, 3), relative luminance as
defined there (from memory). Colour-blind simulation: the matrices for severity 1.0 of Machado, Oliveira and Fernandes,
IEEE Trans. Visualization and Computer Graphics 15 (2009) 1291 (from memory), applied to linear light. Lightness: CIE
1976 L* and the plain Euclidean difference in CIELAB (from memory). The least difference asked for is ours.
"""

import itertools
import re
from pathlib import Path

import pytest

from server.formats.swatch import to_hex, to_linear

STATIC = Path(__file__).parents[2] / "static"
CSS = (STATIC / "umberday.css").read_text(encoding="utf-8")
THEMES = ("light", "dark")
PAIR = re.compile(r"--([a-z_-]+):\s*light-dark\((#[0-9a-f]{6}),\s*(#[0-9a-f]{6})\)")
COLOURS = {name: {"light": light, "dark": dark} for name, light, dark in PAIR.findall(CSS)}
FILMS = ("wet", "tacky", "touch_dry", "firm")
STATES = ("wet", "tacky", "touch_dry", "firm", "ready", "test", "rests", "stop", "caution", "finished")
GROUNDS = ("wall", "chalk", "sunk", "hover")
MACHADO = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def luminance(colour: str) -> float:
    red, green, blue = to_linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def seen_by(eye: str, colour: str) -> str:
    linear = to_linear(colour)
    return to_hex(sum(m * c for m, c in zip(row, linear, strict=True)) for row in MACHADO[eye])


def lab(colour: str) -> tuple[float, float, float]:
    """CIELAB under D65, 2 degrees."""
    r, g, b = to_linear(colour)
    xyz = (
        (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047,
        0.2126 * r + 0.7152 * g + 0.0722 * b,
        (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883,
    )
    x, y, z = (v ** (1 / 3) if v > 0.008856 else 7.787 * v + 16 / 116 for v in xyz)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def difference(one: str, other: str) -> float:
    return sum((p - q) ** 2 for p, q in zip(lab(one), lab(other), strict=True)) ** 0.5


def test_the_formulas_against_their_fixed_points():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2, definition of contrast ratio
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # the well-known grey just short of AA
    assert lab("#ffffff")[0] == pytest.approx(100, abs=0.01)
    for eye in MACHADO:
        assert seen_by(eye, "#808080") == "#808080"  # every row adds up to 1: greys stay as they are


def test_the_stylesheet_has_every_colour_that_is_checked():
    wanted = {*GROUNDS, "ink", "quiet", "act", "press", "on-press", "edge", *FILMS, *(f"{s}-ink" for s in STATES)}
    assert wanted <= set(COLOURS)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize(
    "text", ["ink", "quiet", "act", "umber", *sorted(name for name in COLOURS if name.endswith("-ink"))]
)
def test_text_is_readable(text, ground, theme):
    assert contrast(COLOURS[text][theme], COLOURS[ground][theme]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
def test_text_on_buttons_and_tabs_is_readable(theme):
    assert contrast(COLOURS["on-press"][theme], COLOURS["press"][theme]) >= 4.5
    assert contrast(COLOURS["chalk"][theme], COLOURS["umber"][theme]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("ground", ["wall", "chalk", "sunk"])
def test_controls_and_lines_around_films_stand_out(ground, theme):
    for line in ("edge", "film-line"):
        assert contrast(COLOURS[line][theme], COLOURS[ground][theme]) >= 3


@pytest.mark.parametrize("theme", THEMES)
def test_films_keep_their_order_in_grey(theme):
    """Wet to firm runs one way in lightness, in steps an eye tells apart without any colour."""
    lightness = [lab(COLOURS[film][theme])[0] for film in FILMS]
    steps = [after - before for before, after in itertools.pairwise(lightness)]
    assert all(step > 8 for step in steps) or all(step < -8 for step in steps)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eye", sorted(MACHADO))
def test_films_stay_apart_for_colour_blind_eyes(eye, theme):
    for one, other in itertools.combinations(FILMS, 2):
        seen = difference(seen_by(eye, COLOURS[one][theme]), seen_by(eye, COLOURS[other][theme]))
        assert seen > 12, (one, other)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eye", sorted(MACHADO))
def test_ready_and_stop_stay_apart_for_colour_blind_eyes(eye, theme):
    """The two answers that must never be mixed up differ in colour too, though their shapes and words differ first."""
    seen = difference(seen_by(eye, COLOURS["ready-ink"][theme]), seen_by(eye, COLOURS["stop-ink"][theme]))
    assert seen > 12


def test_every_state_has_a_shape_of_its_own():
    sprite = (STATIC / "shapes.svg").read_text(encoding="utf-8")
    shapes = dict(re.findall(r'<symbol id="([a-z_]+)" viewBox="0 0 24 24">(.*?)</symbol>', sprite))
    wanted = {*STATES, "stopped", "at_risk", "planned", "note", "sound"}
    assert wanted <= set(shapes)
    drawn = {
        name: shapes[name] for name in wanted if name != "stopped"
    }  # a stop looks the same on a panel and in a list
    assert len(set(drawn.values())) == len(drawn)
    assert "fill=" not in sprite.replace("fill-rule=", "")  # one colour, the text's own


def test_weights():
    """One stylesheet under 40 kB, one script of ours under 20 kB."""
    assert len(CSS.encode()) < 40_000
    assert (STATIC / "umberday.js").stat().st_size < 20_000


def test_script_and_styles_are_fit_for_the_content_security_policy():
    script = (STATIC / "umberday.js").read_text(encoding="utf-8")
    assert not re.search(r"\beval\b|new Function|innerHTML|document\.write|\.style\b", script)
    assert not re.search(r"https?:|url\(|@import|@font-face", CSS)
