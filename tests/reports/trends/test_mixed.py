"""The mixed model against values in print."""

from collections.abc import Sequence

import numpy as np
import pytest

from reports.trends import mixed
from reports.trends.history import Floats

# Travel times of ultrasonic waves in six rails, ns: Pinheiro & Bates (2000), section 1.1.
RAIL = [(55, 53, 54), (26, 37, 32), (78, 91, 85), (92, 100, 96), (49, 51, 50), (80, 85, 83)]

# Yield of six batches of dyestuff, g: Davies & Goldsmith (1972); answers as in lme4's manual.
DYESTUFF = [
    (1545, 1440, 1440, 1520, 1580),
    (1540, 1555, 1490, 1560, 1495),
    (1595, 1550, 1605, 1510, 1560),
    (1445, 1440, 1595, 1465, 1545),
    (1595, 1630, 1515, 1635, 1625),
    (1520, 1455, 1450, 1480, 1445),
]

# Distance at ages 8, 10, 12, 14, mm; 16 boys, then 11 girls: Pinheiro & Bates (2000), section 1.4.
ORTHODONT = [
    (26, 25, 29, 31), (21.5, 22.5, 23, 26.5), (23, 22.5, 24, 27.5), (25.5, 27.5, 26.5, 27),
    (20, 23.5, 22.5, 26), (24.5, 25.5, 27, 28.5), (22, 22, 24.5, 26.5), (24, 21.5, 24.5, 25.5),
    (23, 20.5, 31, 26), (27.5, 28, 31, 31.5), (23, 23, 23.5, 25), (21.5, 23.5, 24, 28),
    (17, 24.5, 26, 29.5), (22.5, 25.5, 25.5, 26), (23, 24.5, 26, 30), (22, 21.5, 23.5, 25),
    (21, 20, 21.5, 23), (21, 21.5, 24, 25.5), (20.5, 24, 24.5, 26), (23.5, 24.5, 25, 26.5),
    (21.5, 23, 22.5, 23.5), (20, 21, 21, 22.5), (21.5, 22.5, 23, 25), (23, 23, 23.5, 24),
    (20, 21, 22, 21.5), (16.5, 19, 19, 19.5), (24.5, 25, 28, 28),
]  # fmt: skip

# Reaction time over ten days of short sleep, ms, 18 people:
# Belenky et al. (2003) J. Sleep Res. 12, 1.
SLEEP_TABLE = """
308 249.56 258.7047 250.8006 321.4398 356.8519 414.6901 382.2038 290.1486 430.5853 466.3535
309 222.7339 205.2658 202.9778 204.707 207.7161 215.9618 213.6303 217.7272 224.2957 237.3142
310 199.0539 194.3322 234.32 232.8416 229.3074 220.4579 235.4208 255.7511 261.0125 247.5153
330 321.5426 300.4002 283.8565 285.133 285.7973 297.5855 280.2396 318.2613 305.3495 354.0487
331 287.6079 285.0 301.8206 320.1153 316.2773 293.3187 290.075 334.8177 293.7469 371.5811
332 234.8606 242.8118 272.9613 309.7688 317.4629 309.9976 454.1619 346.8311 330.3003 253.8644
333 283.8424 289.555 276.7693 299.8097 297.171 338.1665 332.0265 348.8399 333.36 362.0428
334 265.4731 276.2012 243.3647 254.6723 279.0244 284.1912 305.5248 331.5229 335.7469 377.299
335 241.6083 273.9472 254.4907 270.8021 251.4519 254.6362 245.4523 235.311 235.7541 237.2466
337 312.3666 313.8058 291.6112 346.1222 365.7324 391.8385 404.2601 416.6923 455.8643 458.9167
349 236.1032 230.3167 238.9256 254.922 250.7103 269.7744 281.5648 308.102 336.2806 351.6451
350 256.2968 243.4543 256.2046 255.5271 268.9165 329.7247 379.4445 362.9184 394.4872 389.0527
351 250.5265 300.0576 269.8939 280.5891 271.8274 304.6336 287.7466 266.5955 321.5418 347.5655
352 221.6771 298.1939 326.8785 346.8555 348.7402 352.8287 354.4266 360.4326 375.6406 388.5417
369 271.9235 268.4369 257.2424 277.6566 314.8222 317.2135 298.1353 348.1229 340.28 366.5131
370 225.264 234.5235 238.9008 240.473 267.5373 344.1937 281.1481 347.5855 365.163 372.2288
371 269.8804 272.4428 277.8989 281.7895 279.1705 284.512 259.2658 304.6306 350.7807 369.4692
372 269.4117 273.474 297.5968 310.6316 287.1726 329.6076 334.4818 343.2199 369.1417 364.1236
"""
SLEEP = {
    int(row[0]): tuple(map(float, row[1:]))
    for row in map(str.split, SLEEP_TABLE.strip().splitlines())
}


def table(rows: Sequence[Sequence[float]], times: list[float] | None = None) -> mixed.Moments:
    """Balanced rows as moments; X = [1] or [1, time]."""
    values = np.array(rows, dtype=np.float64)
    units = np.repeat(np.arange(len(rows)), values.shape[1])
    design = np.ones((values.size, 1))
    if times is not None:
        design = np.column_stack([design, np.tile(times, len(rows))])
    return mixed.moments_of(design, values.ravel(), units)


def deviations(moments: mixed.Moments, found: mixed.Estimate) -> Floats:
    """Each unit's predicted own intercept, given estimates."""
    q = found.effect_cov.shape[0]
    keep = [*range(q), moments.columns]
    cross = moments.cross.copy()
    if q < moments.columns:  # what is fixed only is taken off the response
        rest = np.eye(moments.columns + 1)
        rest[q:-1, -1] = -found.beta[q:]
        cross = rest.T @ cross @ rest
    means, _ = mixed.posterior(
        cross[np.ix_(range(len(cross)), keep, keep)],
        mean=found.beta[:q],
        cov=found.effect_cov,
        noise_variance=found.noise_variance,
    )
    return means


def test_rail_restricted() -> None:
    """Pinheiro & Bates (2000), section 1.1: 66.5, 24.805, 4.0208, standard error 10.171."""
    moments = table(RAIL)
    found = mixed.estimate(moments, effects=1)
    assert found.beta[0] == pytest.approx(66.5, abs=1e-5)
    assert found.beta_cov[0, 0] ** 0.5 == pytest.approx(10.17104, abs=1e-4)
    assert found.effect_cov[0, 0] ** 0.5 == pytest.approx(24.80547, abs=1e-4)
    assert found.noise_variance**0.5 == pytest.approx(4.020779, abs=1e-5)
    assert found.log_likelihood == pytest.approx(-61.0885, abs=1e-4)
    wanted = [-12.39148, -34.53091, 18.00894, 29.24388, -16.35675, 16.02631]
    assert deviations(moments, found)[:, 0] - 66.5 == pytest.approx(wanted, abs=1e-4)


def test_rail_maximum_likelihood() -> None:
    """The same, by maximum likelihood: 22.624, 9.554, −64.28."""
    found = mixed.estimate(table(RAIL), effects=1, restricted=False)
    assert found.effect_cov[0, 0] ** 0.5 == pytest.approx(22.62435, abs=1e-4)
    printed = (found.beta_cov[0, 0] * 18 / 17) ** 0.5  # the book divides by rows less columns
    assert printed == pytest.approx(9.554026, abs=1e-4)
    assert found.log_likelihood == pytest.approx(-64.28002, abs=1e-4)


def test_dyestuff() -> None:
    """Davies & Goldsmith (1972): mean 1527.5, variances 1764.05 and 2451.25, criterion 319.654."""
    moments = table(DYESTUFF)
    found = mixed.estimate(moments, effects=1)
    assert found.beta[0] == pytest.approx(1527.5, abs=1e-4)
    assert found.beta_cov[0, 0] ** 0.5 == pytest.approx(19.383, abs=1e-3)
    assert found.effect_cov[0, 0] == pytest.approx(1764.05, rel=1e-5)
    assert found.noise_variance == pytest.approx(2451.25, rel=1e-5)
    assert -2 * found.log_likelihood == pytest.approx(319.654, abs=1e-3)
    wanted = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529]
    assert deviations(moments, found)[:, 0] - 1527.5 == pytest.approx(wanted, abs=1e-3)
    plain = mixed.estimate(moments, effects=1, restricted=False)
    assert plain.effect_cov[0, 0] == pytest.approx(1388.3333, rel=1e-5)


def test_orthodont_with_random_slopes() -> None:
    """Pinheiro & Bates (2000), chapter 4: 24.02315 and 0.660185, correlation 0.503."""
    found = mixed.estimate(table(ORTHODONT, [-3.0, -1.0, 1.0, 3.0]), effects=2)
    assert found.beta == pytest.approx([24.02315, 0.660185], abs=1e-5)
    assert np.sqrt(np.diag(found.beta_cov)) == pytest.approx([0.429660, 0.071253], abs=1e-4)
    sd = np.sqrt(np.diag(found.effect_cov))
    assert sd == pytest.approx([2.134329, 0.226428], abs=1e-4)
    assert found.effect_cov[0, 1] / (sd[0] * sd[1]) == pytest.approx(0.503, abs=1e-3)
    assert found.noise_variance**0.5 == pytest.approx(1.310040, abs=1e-4)
    assert found.log_likelihood == pytest.approx(-221.3183, abs=1e-4)


def test_orthodont_girls() -> None:
    """Pinheiro & Bates (2000), section 1.4: a random intercept with a fixed slope."""
    moments = table(ORTHODONT[16:], [8.0, 10.0, 12.0, 14.0])
    found = mixed.estimate(moments, effects=1)
    assert found.beta == pytest.approx([17.372727, 0.479545], abs=1e-4)
    assert np.sqrt(np.diag(found.beta_cov)) == pytest.approx([0.858742, 0.052590], abs=1e-4)
    assert found.effect_cov[0, 0] ** 0.5 == pytest.approx(2.068470, abs=1e-4)
    assert found.noise_variance**0.5 == pytest.approx(0.780033, abs=1e-4)
    assert found.log_likelihood == pytest.approx(-70.60916, abs=1e-4)
    own = deviations(moments, found)[:, 0] - found.beta[0]
    wanted = [-1.229032, 0.340179, 1.064430, 2.150807, -0.021947, -1.470449, 0.340179, 0.702304]
    assert own[:8] == pytest.approx(wanted, abs=1e-4)
    plain = mixed.estimate(moments, effects=1, restricted=False)
    assert plain.effect_cov[0, 0] ** 0.5 == pytest.approx(1.969870, abs=1e-4)
    assert plain.noise_variance**0.5 == pytest.approx(0.768124, abs=1e-4)
    assert plain.log_likelihood == pytest.approx(-69.01520, abs=1e-4)


def test_sleep_study() -> None:
    """Bates et al. (2015) J. Stat. Softw. 67(1), table of the first example: 251.405, 10.467, …"""
    moments = table(list(SLEEP.values()), [float(day) for day in range(10)])
    found = mixed.estimate(moments, effects=2)
    assert found.beta == pytest.approx([251.4051, 10.4673], abs=1e-3)
    sd = np.sqrt(np.diag(found.effect_cov))
    assert [*sd, found.noise_variance**0.5] == pytest.approx([24.7407, 5.9221, 25.5918], rel=2e-4)
    assert found.effect_cov[0, 1] / (sd[0] * sd[1]) == pytest.approx(0.066, abs=1e-3)
    assert -2 * found.log_likelihood == pytest.approx(1743.628, abs=1e-3)
    own = dict(zip(SLEEP, deviations(moments, found), strict=True))
    assert own[308] == pytest.approx([253.664, 19.666], abs=2e-2)
    assert own[335] == pytest.approx([251.071, -0.285], abs=2e-2)


def test_gradient_is_that_of_the_likelihood() -> None:
    """The exact gradient agrees with differences, prior included."""
    moments = table(ORTHODONT, [-3.0, -1.0, 1.0, 3.0])
    prior = mixed.Prior(np.array([20.0, 0.5]), 0.1 * np.eye(2), np.eye(2), 5.0, 2.0, 4.0)
    at = np.array([1.7, 0.2, 0.4, 0.3])
    for restricted in (True, False):
        cost = mixed._Units(moments, 2, restricted, prior).cost
        _, slope = cost(at)
        for k in range(4):
            step = np.zeros(4)
            step[k] = 1e-6
            up, _ = cost(at + step)
            down, _ = cost(at - step)
            assert slope[k] == pytest.approx((up - down) / 2e-6, rel=1e-5, abs=1e-6)


def test_a_heavy_prior_holds_and_no_rows_leave_it_as_it_was() -> None:
    """With nothing seen, the prior comes back."""
    prior = mixed.Prior(
        np.array([1.0, 2.0]), np.diag([4.0, 9.0]), np.array([[0.5, 0.1], [0.1, 0.3]]), 8.0, 0.2, 9.0
    )
    none = mixed.Moments(np.zeros(0), np.zeros((0, 3, 3)))
    found = mixed.estimate(none, effects=2, restricted=False, prior=prior)
    assert found.beta == pytest.approx([1.0, 2.0])
    assert np.diag(found.beta_cov) == pytest.approx([1 / 4, 1 / 9])
    assert found.effect_cov == pytest.approx(prior.effect_cov, abs=1e-5)
    assert found.noise_variance == pytest.approx(0.2, abs=1e-5)
