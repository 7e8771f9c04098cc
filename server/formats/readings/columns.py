"""Readings as columns, and what may be in them."""

from dataclasses import dataclass

import numpy as np

LEAST_C, MOST_C = -20.0, 50.0
LEAST_PCT, MOST_PCT = 0.0, 100.0
MOST_LX = 200_000.0
# The first readings that a file may hold, 1990-01-01; earlier ones are a clock that was never set.
EARLIEST_S = 631_152_000


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings: ``at_s`` seconds after 1970 (UTC), °C, per cent, lux (nan where not measured); of equal length."""

    at_s: np.ndarray
    temperature_c: np.ndarray
    relative_humidity_pct: np.ndarray
    light_lx: np.ndarray

    def __len__(self) -> int:
        return len(self.at_s)

    def of(self, rows: np.ndarray) -> "Columns":
        """The readings of these rows."""
        return Columns(self.at_s[rows], self.temperature_c[rows], self.relative_humidity_pct[rows], self.light_lx[rows])

    def in_order(self) -> "Columns":
        """By their instants, each once: of several of one instant the first that was given."""
        _, first = np.unique(self.at_s, return_index=True)
        return self.of(first)


def columns(at_s: list[int], temperature_c: list[float], humidity_pct: list[float], light_lx: list[float]) -> Columns:
    """From lists of equal length."""
    return Columns(
        np.array(at_s, dtype=np.int64),
        np.array(temperature_c, dtype=float),
        np.array(humidity_pct, dtype=float),
        np.array(light_lx, dtype=float),
    )


def fault_of(temperature_c: float, humidity_pct: float, light_lx: float | None) -> str | None:
    """What no room and no daylight can be, in words."""
    if not LEAST_C <= temperature_c <= MOST_C:
        return f"{temperature_c:.4g} °C is no room: {LEAST_C:g} to {MOST_C:g} °C"
    if not LEAST_PCT <= humidity_pct <= MOST_PCT:
        return f"{humidity_pct:.4g} % is no humidity: {LEAST_PCT:g} to {MOST_PCT:g} %"
    if light_lx is not None and not 0 <= light_lx <= MOST_LX:
        return f"{light_lx:.4g} lx is no daylight: 0 to {MOST_LX:g} lx"
    return None
