"""The code to scan, read by a reader that others wrote: zxing-cpp. What is read is the drawing as the page has it, its
path painted into pixels, not the matrix that it was made of.

ISO/IEC 18004:2015: a quiet zone of four modules (from memory), level M mends about 15 % of the codewords (table 8, from
memory); that a smudge of a twentieth of the area is read is held here by the reader, not by the table.
"""

import re

import numpy as np
import pytest

from server.formats.qr import QUIET_ZONE, QrDrawing, qr_drawing

zxingcpp = pytest.importorskip("zxingcpp", reason="zxing-cpp is not installed; ./umberday test installs it")
ADDRESSES = (
    "http://127.0.0.1:8080/s/" + "aZ09-_" * 7 + "x",
    "https://studio.example.org/f/umo_" + "Qq-_" * 10 + "abc/calendar.ics",
    "https://studio.example.org/join/" + "m" * 43,
)
PIXELS = 6  # of a module


def painted(drawing: QrDrawing) -> np.ndarray:
    """The drawing's path as grey pixels: runs of modules one high, as ``qr.html`` draws them."""
    modules = np.full((drawing.size, drawing.size), 255, dtype=np.uint8)
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", drawing.path)
    assert "".join(f"M{x} {y}h{w}v1h-{back}z" for x, y, w, back in runs) == drawing.path
    for x, y, width, back in runs:
        assert width == back
        modules[int(y), int(x) : int(x) + int(width)] = 0
    return np.kron(modules, np.ones((PIXELS, PIXELS), dtype=np.uint8))


def read(pixels: np.ndarray) -> list[str]:
    return [found.text for found in zxingcpp.read_barcodes(pixels) if found.format == zxingcpp.BarcodeFormat.QRCode]


@pytest.mark.parametrize("text", ADDRESSES)
def test_another_reader_reads_the_address(text: str) -> None:
    assert read(painted(qr_drawing(text))) == [text]


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_it_is_read_from_any_side(turns: int) -> None:
    pixels = painted(qr_drawing(ADDRESSES[0]))
    assert read(np.ascontiguousarray(np.rot90(pixels, turns))) == [ADDRESSES[0]]


def test_a_smudge_is_mended() -> None:
    """A twentieth of the area, in the midst of the data."""
    drawing = qr_drawing(ADDRESSES[0])
    pixels = painted(drawing)
    side = int(0.05**0.5 * (drawing.size - 2 * QUIET_ZONE)) * PIXELS
    middle = len(pixels) // 2
    pixels[middle : middle + side, middle : middle + side] = 255
    assert read(pixels) == [ADDRESSES[0]]


def test_a_quiet_zone_of_four_modules_is_around_it() -> None:
    pixels = painted(qr_drawing(ADDRESSES[1]))
    edge = QUIET_ZONE * PIXELS
    assert edge == 4 * PIXELS
    for turned in (np.rot90(pixels, turn) for turn in range(4)):
        assert (turned[:edge] == 255).all()
        assert (turned[edge] == 0).any()
