"""The linear mixed model: units that each have their own coefficients, drawn from one population.

    y_i = X_i β + Z_i b_i + e_i,   b_i ~ N(0, D),   e_ij ~ N(0, σ²),   Z_i = first q columns of X_i

Laird & Ware (1982) Biometrics 38, 963; Pinheiro & Bates (2000) Mixed-Effects Models in S and
S-PLUS. Only each unit's cross-products are needed, so the cost is linear in the units and sums
merge. Estimates maximise the (restricted) likelihood, with an exact gradient, over the Cholesky
factor of D and log σ; β is profiled out. Of many units some are looked at first, evenly spaced; the
point found there is near enough for a few steps over all of them. A prior is worth a stated number
of units whose truth was known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from reports.trends import descent
from reports.trends.history import Floats

LEAST_VARIANCE = 1e-12  # of the data's own variance; keeps the logarithm finite for exact data
LEAST_FACTOR = 1e-5  # least diagonal of D's Cholesky factor where a prior takes its logarithm
FIRST_STEPS = 20  # of expectation and maximisation, before the optimiser proper
STEPS_AT_MOST = 500  # of the optimiser; some thirty are common
GRADIENT_SMALL = 1e-7  # largest element of the gradient at the end, in log-likelihood
SAMPLE = 4_096  # units from which the search begins where there are more


@dataclass(frozen=True, eq=False)
class Moments:
    """Cross-products of units. count (m,) rows; cross (m, p + 1, p + 1) = [X y]ᵀ[X y]."""

    count: Floats
    cross: Floats

    @property
    def columns(self) -> int:
        """How many columns X has."""
        return int(self.cross.shape[-1]) - 1

    def every(self, step: int) -> "Moments":
        """Each `step`-th unit."""
        return Moments(self.count[::step], self.cross[::step])


@dataclass(frozen=True, eq=False)
class Prior:
    """What is assumed before data. Leave a weight at 0 to assume nothing of that part.

    mean (p,), precision (p, p): of β, normal. effect_cov (q, q), effect_units: D, as if seen in
    so many units. noise_variance, noise_rows: σ², as if seen in so many rows.
    """

    mean: Floats
    precision: Floats
    effect_cov: Floats
    effect_units: float
    noise_variance: float
    noise_rows: float


@dataclass(frozen=True, eq=False)
class Estimate:
    """beta (p,) with its covariance beta_cov (p, p); effect_cov D (q, q); noise_variance σ²;
    log_likelihood at the end, restricted or not as asked (with the prior's part, if any)."""

    beta: Floats
    beta_cov: Floats
    effect_cov: Floats
    noise_variance: float
    log_likelihood: float


def moments_of(design: Floats, response: Floats, unit: NDArray[np.int_]) -> Moments:
    """Cross-products of rows by unit. design (n, p); response (n,); unit (n,) its number."""
    rows = np.column_stack([design, response])
    labels, index = np.unique(unit, return_inverse=True)
    cross = np.zeros((labels.size, rows.shape[1], rows.shape[1]))
    np.add.at(cross, index, rows[:, :, None] * rows[:, None, :])
    return Moments(np.bincount(index, minlength=labels.size).astype(np.float64), cross)


def no_prior(columns: int, effects: int) -> Prior:
    """Nothing assumed: the plain (restricted) likelihood."""
    return Prior(
        mean=np.zeros(columns),
        precision=np.zeros((columns, columns)),
        effect_cov=np.eye(effects),
        effect_units=0.0,
        noise_variance=1.0,
        noise_rows=0.0,
    )


def estimate(
    moments: Moments, *, effects: int, restricted: bool = True, prior: Prior | None = None
) -> Estimate:
    """Fit the model. `effects` = q; `restricted` chooses REML, else maximum likelihood."""
    assumed = prior or no_prior(moments.columns, effects)
    whole = _Units(moments, effects, restricted, assumed)
    some, step = whole, max(-(-moments.count.size // SAMPLE), 1)
    if step > 1:
        some = _Units(moments.every(step), effects, restricted, _thinned(assumed, step))
    near = _searched(some, _approach(_start(some), some))
    found = None
    if np.all(near > _lowest(whole)):
        found = descent.descend(whole.cost, near, step * descent.curvature(some.cost, near))
    if found is None or not np.all(found > _lowest(whole)):
        found = near if some is whole else _searched(whole, _approach(near, whole))
    return _finish(found, whole)


def _thinned(prior: Prior, step: int) -> Prior:
    """The prior beside each `step`-th unit: as strong against them as it is against all."""
    return Prior(
        prior.mean,
        prior.precision / step,
        prior.effect_cov,
        prior.effect_units / step,
        prior.noise_variance,
        prior.noise_rows / step,
    )


class _Units:
    """Units as the search sees them: cross (p + 1, p + 1, m), so that a product over all of them
    runs through memory in one go."""

    def __init__(self, moments: Moments, effects: int, restricted: bool, prior: Prior) -> None:
        self.cross = np.ascontiguousarray(np.moveaxis(moments.cross, 0, -1))
        self.total = self.cross.sum(axis=2)
        self.units, self.rows = moments.count.size, float(moments.count.sum())
        self.columns, self.effects = moments.columns, effects
        self.half, self.square = self.cross[:effects], self.cross[:effects, :effects]
        self.restricted, self.prior = restricted, prior

    def cost(self, parameters: Floats) -> tuple[float, Floats]:
        """Minus the log-likelihood and its gradient, prior included."""
        factor, noise = _unpack(parameters, self.effects)
        parts = _parts(factor, noise, self)
        value = _log_likelihood(parts, self) + _prior_value(factor, noise, self.prior)
        by_cov, by_noise = _slopes(parts, noise, self)
        prior_cov, prior_noise = _prior_slopes(factor, noise, self.prior)
        by_factor = 2.0 * (by_cov + prior_cov) @ factor
        by_log_noise = 2.0 * noise * (by_noise + prior_noise)
        return -value, -np.append(by_factor[np.tril_indices(self.effects)], by_log_noise)


def _lowest(units: _Units) -> Floats:
    """Bounds of the parameters from below."""
    lower = np.full(units.effects * (units.effects + 1) // 2 + 1, -np.inf)
    lower[_diagonal(units.effects)] = 0.0 if units.prior.effect_units == 0 else LEAST_FACTOR
    lower[-1] = 0.5 * np.log(LEAST_VARIANCE * max(_variance(units), LEAST_VARIANCE))
    return lower


def _searched(units: _Units, start: Floats) -> Floats:
    found: Floats = minimize(
        units.cost,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=[(low, None) for low in _lowest(units)],
        options={"maxiter": STEPS_AT_MOST, "ftol": 1e-15, "gtol": GRADIENT_SMALL},
    ).x
    return found


def _approach(start: Floats, units: _Units) -> Floats:
    """Some steps of expectation and maximisation: slow, but never caught at a variance of nought.

    Dempster, Laird & Rubin (1977) J. R. Stat. Soc. B 39, 1; each step written by the gradient.
    """
    prior = units.prior
    count, rows = units.units + prior.effect_units, units.rows + prior.noise_rows
    parameters = start
    for _ in range(FIRST_STEPS if count > 0 and rows > 0 else 0):
        factor, noise = _unpack(parameters, units.effects)
        by_cov, by_noise = _slopes(_parts(factor, noise, units), noise, units)
        told_cov, told_noise = _prior_slopes(factor, noise, prior)
        cov = factor @ factor.T
        cov = cov + 2.0 * cov @ (by_cov + told_cov) @ cov / count
        noise = noise + 2.0 * noise**2 * (by_noise + told_noise) / rows
        parameters = _pack(cov, noise)
    return parameters


def _pack(cov: Floats, noise: float) -> Floats:
    """Parameters of the optimiser: lower triangle of D's factor, then log σ."""
    factor = np.linalg.cholesky(cov + LEAST_VARIANCE * np.trace(cov) * np.eye(len(cov)))
    return np.append(factor[np.tril_indices(len(cov))], 0.5 * np.log(noise))


def _variance(units: _Units) -> float:
    """Variance of all responses about their mean (of the first column, if that is ones)."""
    total = units.total
    if total[0, 0] <= 0:
        return 1.0
    return float(max(total[-1, -1] - total[0, -1] ** 2 / total[0, 0], 0.0) / total[0, 0])


def _diagonal(effects: int) -> NDArray[np.intp]:
    rows, columns = np.tril_indices(effects)
    return np.flatnonzero(rows == columns)


def _start(units: _Units) -> Floats:
    """Start: the prior's own D and σ, or half the variance for each part."""
    prior = units.prior
    if prior.effect_units > 0 and prior.noise_rows > 0:
        return _pack(prior.effect_cov, prior.noise_variance)
    noise = max(0.5 * _variance(units), LEAST_VARIANCE)
    size = np.diag(units.total)[: units.effects] / max(units.rows, 1.0)
    return _pack(np.diag(noise / np.maximum(size, LEAST_VARIANCE)), noise)


def _unpack(parameters: Floats, effects: int) -> tuple[Floats, float]:
    factor = np.zeros((effects, effects))
    factor[np.tril_indices(effects)] = parameters[:-1]
    return factor, float(np.exp(2.0 * parameters[-1]))


@dataclass(frozen=True, eq=False)
class _Parts:
    """The pieces of the likelihood at one D and σ²; Q_i = [X y]ᵀ V_i⁻¹ [X y]."""

    weight: Floats  # (q, q, m) H_i, so that V_i⁻¹ = (I − Z H_i Zᵀ) / σ²
    weighted: Floats  # (q, p + 1, m) H_i Zᵀ[X y]
    log_det: float
    total: Floats  # (p + 1, p + 1) Σ Q_i, with the prior of β
    beta: Floats
    cov: Floats


def _parts(factor: Floats, noise: float, units: _Units) -> _Parts:
    weight, det = _weights(factor @ factor.T, units.square / noise)
    weight /= noise
    weighted = np.einsum("ijm,jbm->ibm", weight, units.half)
    total = (units.total - _products(units.half, weighted)) / noise
    told = np.column_stack([np.eye(units.columns), units.prior.mean])
    total = total + told.T @ units.prior.precision @ told
    cov = np.linalg.inv(total[:-1, :-1])
    log_det = float(units.rows * np.log(noise) + np.log(det).sum())
    return _Parts(weight, weighted, log_det, total, cov @ total[:-1, -1], cov)


def _products(one: Floats, other: Floats) -> Floats:
    """Σ over units of oneᵀ other. (q, a, m), (q, b, m) → (a, b)

    Not by a matrix product, which would wait for the threads that other processes keep busy.
    """
    summed: Floats = np.einsum("iam,ibm->ab", one, other)
    return summed


def _weights(cov: Floats, told: Floats) -> tuple[Floats, Floats]:
    """(D⁻¹ + A)⁻¹ and det(I + A D), D never inverted. cov D (q, q), told A (q, q, m).

    For two effects it is (D + det D · adj A) / det(I + A D), an identity of 2 × 2 matrices.
    """
    if len(cov) == 2:
        whole, trace = _determinant(cov), (told * cov[:, :, None]).sum(axis=(0, 1))
        det = 1.0 + trace + _determinant(told) * whole
        return (cov[:, :, None] + whole * _adjoint(told)) / det, det
    inner = np.eye(len(cov)) + np.moveaxis(told, -1, 0) @ cov
    weight: Floats = np.moveaxis(cov @ np.linalg.inv(inner), 0, -1)
    return np.ascontiguousarray(weight), np.linalg.det(inner)


def _determinant(square: Floats) -> Floats:
    """Of 2 × 2 matrices (2, 2, …)."""
    det: Floats = square[0, 0] * square[1, 1] - square[0, 1] * square[1, 0]
    return det


def _adjoint(square: Floats) -> Floats:
    """Of 2 × 2 matrices (2, 2, …)."""
    rows = [[square[1, 1], -square[0, 1]], [-square[1, 0], square[0, 0]]]
    return np.array(rows)


def _log_likelihood(parts: _Parts, units: _Units) -> float:
    """Without the prior's part. Restricted: Harville (1974) Biometrika 61, 383."""
    contrast = np.append(-parts.beta, 1.0)
    square = float(contrast @ parts.total @ contrast)
    rows = units.rows
    value = -0.5 * (parts.log_det + square)
    if units.restricted:
        rows -= units.columns
        value += 0.5 * float(np.linalg.slogdet(parts.cov)[1])
    return value - 0.5 * rows * float(np.log(2.0 * np.pi))


def _slopes(parts: _Parts, noise: float, units: _Units) -> tuple[Floats, float]:
    """Derivatives of the log-likelihood by D (q, q) and by σ²."""
    q, half, weighted = units.effects, units.half, parts.weighted
    contrast = np.append(-parts.beta, 1.0)
    told = np.einsum("ijm,jbm->ibm", units.square, weighted)
    shrunk = (half - told) / noise  # Zᵀ V⁻¹ [X y]
    pull = np.einsum("ibm,b->im", shrunk, contrast)
    by_cov: Floats = -0.5 * (shrunk[:, :q].sum(axis=2) - np.einsum("im,jm->ij", pull, pull))
    shared = float(np.einsum("ijm,ijm->", parts.weight, units.square))
    twice, thrice = _products(half, weighted), _products(weighted, told)
    squared = (units.total - 2.0 * twice + thrice) / noise**2
    by_noise = -0.5 * ((units.rows - shared) / noise - float(contrast @ squared @ contrast))
    if units.restricted:
        lean = shrunk[:, :-1]
        leant = np.einsum("ab,jbm->jam", parts.cov, lean)
        by_cov += 0.5 * np.einsum("iam,jam->ij", lean, leant)
        by_noise += 0.5 * float(np.sum(parts.cov * squared[:-1, :-1]))
    return by_cov, by_noise


def _prior_value(factor: Floats, noise: float, prior: Prior) -> float:
    value = -0.5 * prior.noise_rows * (np.log(noise) + prior.noise_variance / noise)
    if prior.effect_units > 0:
        log_det = 2.0 * np.log(np.diag(factor)).sum()
        trace = np.sum(_inverse(factor) * prior.effect_cov)
        value -= 0.5 * prior.effect_units * (log_det + trace)
    return float(value)


def _prior_slopes(factor: Floats, noise: float, prior: Prior) -> tuple[Floats, float]:
    by_noise = -0.5 * prior.noise_rows * (1.0 / noise - prior.noise_variance / noise**2)
    if prior.effect_units == 0:
        return np.zeros_like(factor), by_noise
    inverse = _inverse(factor)
    by_cov: Floats = -0.5 * prior.effect_units * (inverse - inverse @ prior.effect_cov @ inverse)
    return by_cov, by_noise


def _inverse(factor: Floats) -> Floats:
    """Inverse of the covariance whose lower Cholesky factor this is; exact even when it is thin."""
    half = np.linalg.inv(factor)
    inverse: Floats = half.T @ half
    return inverse


def _finish(parameters: Floats, units: _Units) -> Estimate:
    factor, noise = _unpack(parameters, units.effects)
    parts = _parts(factor, noise, units)
    value = _log_likelihood(parts, units) + _prior_value(factor, noise, units.prior)
    return Estimate(parts.beta, parts.cov, factor @ factor.T, noise, value)


def posterior(
    cross: Floats, *, mean: Floats, cov: Floats, noise_variance: float | Floats
) -> tuple[Floats, Floats]:
    """A unit's own coefficients, given its rows and the population: (m, q) means, (m, q, q).

    cross (m, q + 1, q + 1): cross-products of [Z y]. mean (q,) or (m, q), cov (q, q) or (m, q, q)
    and noise_variance, one or (m,): of the population. With cov growing without end the mean
    becomes the unit's own least squares.
    """
    q = mean.shape[-1]
    noise = np.asarray(noise_variance)[..., None]
    told = _inverted(cov)
    spread = _inverted(told + cross[:, :q, :q] / noise[..., None])
    spread = 0.5 * (spread + spread.transpose(0, 2, 1))
    pull = (told * mean[..., None, :]).sum(axis=-1) + cross[:, :q, q] / noise
    return (spread * pull[:, None, :]).sum(axis=-1), spread


def _inverted(square: Floats) -> Floats:
    """Inverses of (…, q, q); those of two effects written out."""
    if square.shape[-1] != 2:
        return np.linalg.inv(square).astype(np.float64)
    turned = np.moveaxis(square, (-2, -1), (0, 1))
    inverse: Floats = np.moveaxis(_adjoint(turned) / _determinant(turned), (0, 1), (-2, -1))
    return inverse
