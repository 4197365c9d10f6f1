"""The linear mixed model: units that each have their own coefficients, drawn from one population.

    y_i = X_i β + Z_i b_i + e_i,   b_i ~ N(0, D),   e_ij ~ N(0, σ²),   Z_i = first q columns of X_i

Laird & Ware (1982) Biometrics 38, 963; Pinheiro & Bates (2000) Mixed-Effects Models in S and
S-PLUS. Only each unit's cross-products are needed, so the cost is linear in the units and sums
merge. Estimates maximise the (restricted) likelihood, with an exact gradient, over the Cholesky
factor of D and log σ; β is profiled out. A prior is worth a stated number of units whose truth was
known.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from reports.trends.history import Floats

LEAST_VARIANCE = 1e-12  # of the data's own variance; keeps the logarithm finite for exact data
LEAST_FACTOR = 1e-5  # least diagonal of D's Cholesky factor where a prior takes its logarithm
FIRST_STEPS = 20  # of expectation and maximisation, before the optimiser proper
STEPS_AT_MOST = 500  # of the optimiser; some thirty are common
GRADIENT_SMALL = 1e-7  # largest element of the gradient at the end, in log-likelihood


@dataclass(frozen=True, eq=False)
class Moments:
    """Cross-products of units. count (m,) rows; cross (m, p + 1, p + 1) = [X y]ᵀ[X y]."""

    count: Floats
    cross: Floats

    @property
    def columns(self) -> int:
        """How many columns X has."""
        return int(self.cross.shape[-1]) - 1


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
    start = _approach(_start(moments, effects, assumed), moments, effects, restricted, assumed)
    lower = np.full(start.size, -np.inf)
    lower[_diagonal(effects)] = 0.0 if assumed.effect_units == 0 else LEAST_FACTOR
    lower[-1] = 0.5 * np.log(LEAST_VARIANCE * max(_variance(moments), LEAST_VARIANCE))
    found = minimize(
        _cost,
        start,
        args=(moments, effects, restricted, assumed),
        jac=True,
        method="L-BFGS-B",
        bounds=[(low, None) for low in lower],
        options={"maxiter": STEPS_AT_MOST, "ftol": 1e-15, "gtol": GRADIENT_SMALL},
    )
    return _finish(found.x, moments, effects, restricted, assumed)


def _approach(
    start: Floats, moments: Moments, effects: int, restricted: bool, prior: Prior
) -> Floats:
    """Some steps of expectation and maximisation: slow, but never caught at a variance of nought.

    Dempster, Laird & Rubin (1977) J. R. Stat. Soc. B 39, 1; each step written by the gradient.
    """
    units, rows = moments.count.size + prior.effect_units, moments.count.sum() + prior.noise_rows
    parameters = start
    for _ in range(FIRST_STEPS if units > 0 and rows > 0 else 0):
        factor, noise = _unpack(parameters, effects)
        parts = _parts(factor, noise, moments, prior)
        by_cov, by_noise = _slopes(parts, noise, moments, restricted)
        told_cov, told_noise = _prior_slopes(factor, noise, prior)
        cov = factor @ factor.T
        cov = cov + 2.0 * cov @ (by_cov + told_cov) @ cov / units
        noise = noise + 2.0 * noise**2 * (by_noise + told_noise) / rows
        parameters = _pack(cov, noise)
    return parameters


def _pack(cov: Floats, noise: float) -> Floats:
    """Parameters of the optimiser: lower triangle of D's factor, then log σ."""
    factor = np.linalg.cholesky(cov + LEAST_VARIANCE * np.trace(cov) * np.eye(len(cov)))
    return np.append(factor[np.tril_indices(len(cov))], 0.5 * np.log(noise))


def _variance(moments: Moments) -> float:
    """Variance of all responses about their mean (of the first column, if that is ones)."""
    total = moments.cross.sum(axis=0)
    if total[0, 0] <= 0:
        return 1.0
    return float(max(total[-1, -1] - total[0, -1] ** 2 / total[0, 0], 0.0) / total[0, 0])


def _diagonal(effects: int) -> NDArray[np.intp]:
    rows, columns = np.tril_indices(effects)
    return np.flatnonzero(rows == columns)


def _start(moments: Moments, effects: int, prior: Prior) -> Floats:
    """Start: the prior's own D and σ, or half the variance for each part."""
    if prior.effect_units > 0 and prior.noise_rows > 0:
        return _pack(prior.effect_cov, prior.noise_variance)
    noise = max(0.5 * _variance(moments), LEAST_VARIANCE)
    total = moments.cross.sum(axis=0)
    size = np.diag(total)[:effects] / max(moments.count.sum(), 1.0)
    return _pack(np.diag(noise / np.maximum(size, LEAST_VARIANCE)), noise)


def _unpack(parameters: Floats, effects: int) -> tuple[Floats, float]:
    factor = np.zeros((effects, effects))
    factor[np.tril_indices(effects)] = parameters[:-1]
    return factor, float(np.exp(2.0 * parameters[-1]))


@dataclass(frozen=True, eq=False)
class _Parts:
    """The pieces of the likelihood at one D and σ²; Q_i = [X y]ᵀ V_i⁻¹ [X y]."""

    weight: Floats  # (m, q, q) H_i, so that V_i⁻¹ = (I − Z H_i Zᵀ) / σ²
    log_det: float
    total: Floats  # (p + 1, p + 1) Σ Q_i, with the prior of β
    beta: Floats
    cov: Floats


def _parts(factor: Floats, noise: float, moments: Moments, prior: Prior) -> _Parts:
    q = factor.shape[0]
    square = moments.cross[:, :q, :q]
    inner = np.eye(q) + factor.T @ square @ factor / noise
    weight = factor @ np.linalg.inv(inner) @ factor.T / noise
    half = moments.cross[:, :q, :]
    total = (
        moments.cross.sum(axis=0) - np.einsum("mia,mij,mjb->ab", half, weight, half, optimize=True)
    ) / noise
    told = np.column_stack([np.eye(moments.columns), prior.mean])
    total = total + told.T @ prior.precision @ told
    cov = np.linalg.inv(total[:-1, :-1])
    log_det = float(moments.count.sum() * np.log(noise) + np.log(np.linalg.det(inner)).sum())
    return _Parts(weight, log_det, total, cov @ total[:-1, -1], cov)


def _cost(
    parameters: Floats, moments: Moments, effects: int, restricted: bool, prior: Prior
) -> tuple[float, Floats]:
    """Minus the log-likelihood and its gradient."""
    factor, noise = _unpack(parameters, effects)
    parts = _parts(factor, noise, moments, prior)
    value = _log_likelihood(parts, moments, restricted) + _prior_value(factor, noise, prior)
    by_cov, by_noise = _slopes(parts, noise, moments, restricted)
    prior_cov, prior_noise = _prior_slopes(factor, noise, prior)
    by_factor = 2.0 * (by_cov + prior_cov) @ factor
    gradient = np.append(
        by_factor[np.tril_indices(effects)], 2.0 * noise * (by_noise + prior_noise)
    )
    return -value, -gradient


def _log_likelihood(parts: _Parts, moments: Moments, restricted: bool) -> float:
    """Without the prior's part. Restricted: Harville (1974) Biometrika 61, 383."""
    contrast = np.append(-parts.beta, 1.0)
    square = float(contrast @ parts.total @ contrast)
    rows = float(moments.count.sum())
    value = -0.5 * (parts.log_det + square)
    if restricted:
        rows -= moments.columns
        value += 0.5 * float(np.linalg.slogdet(parts.cov)[1])
    return value - 0.5 * rows * float(np.log(2.0 * np.pi))


def _slopes(
    parts: _Parts, noise: float, moments: Moments, restricted: bool
) -> tuple[Floats, float]:
    """Derivatives of the log-likelihood by D (q, q) and by σ²."""
    q = parts.weight.shape[-1]
    half = moments.cross[:, :q, :]
    square = moments.cross[:, :q, :q]
    contrast = np.append(-parts.beta, 1.0)
    shrunk = (half - square @ parts.weight @ half) / noise  # Zᵀ V⁻¹ [X y]
    pull = shrunk @ contrast
    spread = shrunk[:, :, :q].sum(axis=0)
    by_cov: Floats = -0.5 * (spread - pull.T @ pull)
    trace = (moments.count.sum() - float(np.einsum("mij,mji->", parts.weight, square))) / noise
    twice = np.einsum("mia,mij,mjb->ab", half, parts.weight, half, optimize=True)
    thrice = half.transpose(0, 2, 1) @ parts.weight @ square @ parts.weight @ half
    squared = (moments.cross.sum(axis=0) - 2.0 * twice + thrice.sum(axis=0)) / noise**2
    by_noise = -0.5 * (trace - float(contrast @ squared @ contrast))
    if restricted:
        lean = shrunk[:, :, :-1]
        by_cov += 0.5 * np.einsum("mia,ab,mjb->ij", lean, parts.cov, lean, optimize=True)
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


def _finish(
    parameters: Floats, moments: Moments, effects: int, restricted: bool, prior: Prior
) -> Estimate:
    factor, noise = _unpack(parameters, effects)
    parts = _parts(factor, noise, moments, prior)
    value = _log_likelihood(parts, moments, restricted) + _prior_value(factor, noise, prior)
    return Estimate(parts.beta, parts.cov, factor @ factor.T, noise, value)


def posterior(
    cross: Floats, *, mean: Floats, cov: Floats, noise_variance: float
) -> tuple[Floats, Floats]:
    """A unit's own coefficients, given its rows and the population: (m, q) means, (m, q, q).

    cross (m, q + 1, q + 1): cross-products of [Z y]. mean (q,) and cov (q, q): of the population.
    With cov growing without end the mean becomes the unit's own least squares.
    """
    q = mean.size
    told = np.linalg.inv(cov)
    precision = told + cross[:, :q, :q] / noise_variance
    spread = np.linalg.inv(precision)
    spread = 0.5 * (spread + spread.transpose(0, 2, 1))
    pull = told @ mean + cross[:, :q, q] / noise_variance
    return np.einsum("mij,mj->mi", spread, pull), spread
