"""Water vapour in the air of a room."""

import numpy as np

Number = float | np.ndarray
MAGNUS_HPA, MAGNUS_A, MAGNUS_B_C = 6.112, 17.62, 243.12
MOST_PCT = 95.0  # beyond, walls and windows take the rest


def saturation_hpa(temperature_c: Number) -> Number:
    """Pressure of water vapour over water in hPa at which air of that temperature is full.

    Source: the Magnus formula with the figures of the WMO's guide to instruments (from memory), -45 to 60 C.
    """
    return MAGNUS_HPA * np.exp(MAGNUS_A * temperature_c / (MAGNUS_B_C + temperature_c))


def humidity_at(relative_humidity_pct: Number, from_c: Number, to_c: Number) -> Number:
    """Relative humidity in per cent of air that is warmed or cooled with the vapour in it, at most 95.

    That no vapour comes or goes meanwhile is an assumption.
    """
    return np.minimum(MOST_PCT, relative_humidity_pct * saturation_hpa(from_c) / saturation_hpa(to_c))
