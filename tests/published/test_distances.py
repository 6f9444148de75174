"""Distances over the ellipsoid against a line that a mapping agency has published."""

import pytest

from surveys.visits.positions import metres_between

# Geocentric Datum of Australia, technical manual (Intergovernmental Committee on Surveying and Mapping), worked
# example of Vincenty's formulae: Flinders Peak to Buninyong on GRS80. From memory; many test suites quote it.
FLINDERS_PEAK = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
BUNINYONG = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
ELLIPSOIDAL_DISTANCE_M = 54_972.271

# A quarter of a meridian: 10,001,965.729 m on WGS84 and GRS80 (Moritz 2000, Geodetic Reference System 1980,
# Journal of Geodesy 74, table of derived constants). From memory.
MERIDIAN_QUADRANT_M = 10_001_965.729


@pytest.mark.parametrize(("start", "end"), [(FLINDERS_PEAK, BUNINYONG), (BUNINYONG, FLINDERS_PEAK)])
def test_it_measures_the_published_line_to_the_millimetre(
    start: tuple[float, float], end: tuple[float, float]
) -> None:
    # WGS84 and GRS80 differ by a tenth of a millimetre in the polar axis.
    assert metres_between(*start, *end) == pytest.approx(ELLIPSOIDAL_DISTANCE_M, abs=0.001)


def test_it_measures_a_quarter_of_a_meridian() -> None:
    assert metres_between(0, -2.5, 90, -2.5) == pytest.approx(MERIDIAN_QUADRANT_M, abs=0.01)


def test_it_goes_the_short_way_over_the_date_line() -> None:
    assert metres_between(-17, 179.999, -17, -179.999) < 250
