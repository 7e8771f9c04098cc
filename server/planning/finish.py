"""The customary rest before a final varnish."""

THIN_UM = 100.0
THICK_UM = 300.0
THIN_REST_D = 180.0
THICK_REST_D = 365.0
RICH = 1.3  # richness D above which a film counts as thick; our choice


def varnish_rest_d(thickest_film_um: float, richest: float) -> float:
    """Days after the last layer before a final varnish: six months for thin films, a year for thick or rich ones.

    Six months: H. Parkhurst, The Painter in Oil (1898), and R. Peale's notes; a year for thick films is common
    practice. Between 100 and 300 um in proportion, which is ours. The day shown is never earlier than the model's.
    """
    if richest > RICH:
        return THICK_REST_D
    share = (thickest_film_um - THIN_UM) / (THICK_UM - THIN_UM)
    return THIN_REST_D + (THICK_REST_D - THIN_REST_D) * min(1.0, max(0.0, share))
