"""How far percentiles lie from a million draws of every uncertain figure; makes the reference that the tests keep.

``./umberday bench spread`` takes some minutes and prints the worst difference of each case.
``python -m bench.spread FILE`` writes the reference anew: tests/science/data/spread_reference.csv.
"""

import csv
import sys
from pathlib import Path

import numpy as np

from bench.timing import row
from server.science.results import STAGES
from tests.science import draws
from tests.science.test_spread import ALL_CASES, days_of, factors


def references() -> dict[str, np.ndarray]:
    """Factors on the median of every case, (stages, percentiles)."""
    return {name: factors(draws.percentiles(*case, seed=draws.REFERENCE_SEED)) for name, case in ALL_CASES.items()}


def run() -> None:
    print("Percentiles against 2^20 draws of every uncertain figure, each integrated by itself")
    for name, expected in references().items():
        off = np.abs(factors(days_of(*ALL_CASES[name])) / expected - 1)
        touch, worst = off[1].max(), off.max()
        row(name, f"{worst:.2%}", f"dry-to-touch {touch:.2%}")


def main(file: Path) -> None:
    with file.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(["case", "stage", *(f"p{round(100 * p):02d}" for p in draws.PERCENTILES)])
        for name, rows in references().items():
            for stage, figures in zip(STAGES, rows, strict=True):
                writer.writerow([name, stage, *(f"{factor:.5f}" for factor in figures)])


if __name__ == "__main__":
    main(Path(sys.argv[1]))
