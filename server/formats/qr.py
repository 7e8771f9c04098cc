"""A code to scan (QR, ISO/IEC 18004) as geometry: dark squares as one path on a light ground, in either theme."""

from dataclasses import dataclass

import segno

QUIET_ZONE = 4  # modules of light around it, as the standard asks


@dataclass(frozen=True, slots=True)
class QrDrawing:
    """``size`` is the width and height of the viewbox in modules, quiet zone included; ``path`` the dark modules."""

    size: int
    path: str


def qr_drawing(text: str) -> QrDrawing:
    """The code of a text, with a fifth of it readable even where it is smudged (level M of the standard)."""
    matrix = segno.make_qr(text, error="m", boost_error=False).matrix
    path = "".join(
        f"M{start + QUIET_ZONE} {row_number + QUIET_ZONE}h{length}v1h-{length}z"
        for row_number, row in enumerate(matrix)
        for start, length in _runs(row)
    )
    return QrDrawing(len(matrix) + 2 * QUIET_ZONE, path)


def _runs(row: bytearray) -> list[tuple[int, int]]:
    """Where dark modules begin in a row, and how many follow one another."""
    runs: list[tuple[int, int]] = []
    for place, module in enumerate(row):
        if not module:
            continue
        if runs and sum(runs[-1]) == place:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((place, 1))
    return runs
