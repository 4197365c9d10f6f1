"""Scores against values in print."""

import numpy as np
import pytest

from reports.trends import scores
from reports.trends.history import Floats


def floats(*values: float) -> Floats:
    return np.array(values, dtype=np.float64)


def test_brier_and_log_score() -> None:
    """scikit-learn 1.9.1 documentation of brier_score_loss and log_loss."""
    assert scores.brier(floats(0.1, 0.9, 0.8, 0.3), floats(0, 1, 1, 0)) == pytest.approx(0.0375)
    told = scores.log_score(floats(0.1, 0.9, 0.8, 0.35), floats(0, 1, 1, 0))
    assert told == pytest.approx(0.2161618747, abs=1e-9)


def test_reliability_table() -> None:
    """scikit-learn 1.9.1 documentation of calibration_curve."""
    p = floats(0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1.0)
    y = floats(0, 0, 0, 0, 1, 1, 1, 1, 1)
    table = scores.reliability(p, y, bins=3)
    assert [each.observed for each in table] == pytest.approx([0.0, 0.5, 1.0])
    assert [each.forecast for each in table] == pytest.approx([0.2, 0.525, 0.85])
    assert [each.count for each in table] == [3, 2, 4]
    assert scores.calibration_error(p, y, bins=3) == pytest.approx((0.6 + 0.05 + 0.6) / 9)


def test_decomposition_of_rain_forecasts() -> None:
    """Wilks, Statistical Methods in the Atmospheric Sciences, table 7.3; parts follow from it."""
    p = floats(0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1)
    happened = floats(
        0.006, 0.019, 0.059, 0.150, 0.277, 0.377, 0.511, 0.587, 0.723, 0.779, 0.934, 0.933
    )
    share = floats(
        0.4112, 0.0671, 0.1833, 0.0986, 0.0616, 0.0366, 0.0303, 0.0275, 0.0245, 0.0220, 0.0170,
        0.0203,
    )  # fmt: skip
    parts = scores.decompose(p, happened, share)
    assert parts.reliability == pytest.approx(0.0008276164, abs=1e-9)
    assert parts.resolution == pytest.approx(0.0627866282, abs=1e-9)
    assert parts.uncertainty == pytest.approx(0.1354200518, abs=1e-9)
    assert parts.score == pytest.approx(0.0734610400, abs=1e-9)


def test_decomposition_in_whole_numbers() -> None:
    """Twelve forecasts whose parts are fractions: 47/300 = 1/150 − 1/10 + 1/4."""
    p = np.repeat([0.1, 0.5, 0.9], [5, 4, 3])
    y = floats(0, 0, 0, 0, 1, 0, 1, 1, 0, 1, 1, 1)
    parts = scores.decompose(p, y)
    assert parts.reliability == pytest.approx(1 / 150)
    assert parts.resolution == pytest.approx(1 / 10)
    assert parts.uncertainty == pytest.approx(1 / 4)
    assert scores.brier(p, y) == pytest.approx(47 / 300)
    assert scores.skill(p, y) == pytest.approx(1 - 4 * 47 / 300)


def test_skill_where_nothing_happened() -> None:
    """The base is perfect then, and there is nothing to gain."""
    assert scores.skill(floats(0.1, 0.2), floats(0, 0)) is None
    assert scores.skill(floats(0.0, 0.0), floats(0, 0), base=0.1) == 1.0


TIME = floats(9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161)
EVENT = floats(1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0)
LIFE = floats(1, 6, 2, 7, 3, 7, 3, 8, 4, 4, 5)


def test_concordance_with_censoring() -> None:
    """Therneau & Atkinson, R survival, tests/concordance.R: 24, 14, 2, by weight 91, 70, 7."""
    found = scores.concordance(TIME, EVENT, -LIFE)
    assert (found.concordant, found.discordant, found.tied) == (24, 14, 2)
    assert found.share == pytest.approx(0.625)
    weight = floats(1, 2, 3, 2, 1, 2, 3, 4, 3, 2, 1)
    found = scores.concordance(TIME, EVENT, -LIFE, weight=weight)
    assert (found.concordant, found.discordant, found.tied) == (91, 70, 7)
    assert found.share == pytest.approx(0.5625)


def test_concordance_without_censoring() -> None:
    """R survival, concordance vignette, third of Anscombe's sets: 43 and 12."""
    x = floats(10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5)
    y = floats(9.14, 8.14, 8.74, 8.77, 9.26, 8.10, 6.13, 3.10, 9.13, 7.26, 4.74)
    found = scores.concordance(y, np.ones(11), -x)
    assert (found.concordant, found.discordant) == (43, 12)
    assert found.share == pytest.approx(0.7818, abs=5e-5)


def test_concordance_within_equal_age() -> None:
    """Age that ranks by itself gains nothing when only equal ages are compared."""
    age = np.repeat([1, 2, 3], 2)
    time = floats(6, 5, 4, 3, 2, 1)
    assert scores.concordance(time, np.ones(6), age.astype(float)).share == pytest.approx(13.5 / 15)
    within = scores.concordance(time, np.ones(6), age.astype(float), age=age)
    assert (within.concordant, within.discordant, within.tied) == (0, 0, 3)
    assert within.share == 0.5
    assert scores.concordance(time, np.zeros(6), time).share is None
