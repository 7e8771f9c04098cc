"""The customary rest before a final varnish."""

from server.science.soundness import DEFAULT, Thresholds


def varnish_rest_d(thickest_film_um: float, richest: float, limits: Thresholds = DEFAULT) -> float:
    """Days after the last layer before a final varnish: six months for thin films, a year for thick or rich ones.

    Six months: H. Parkhurst, The Painter in Oil (1898), and R. Peale's notes; a year for thick films is common
    practice. Between 100 and 300 um in proportion, which is ours. The figures are the limits of the rule on final
    varnish, which a studio may edit. The day shown is never earlier than the model's.
    """
    if richest > limits.varnish_rich:
        return limits.varnish_thick_d
    span_um = limits.varnish_thick_um - limits.varnish_thin_um
    beyond_um = thickest_film_um - limits.varnish_thin_um
    share = beyond_um / span_um if span_um > 0.0 else float(beyond_um > 0.0)
    return limits.varnish_thin_d + (limits.varnish_thick_d - limits.varnish_thin_d) * min(1.0, max(0.0, share))
