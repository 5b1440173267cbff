"""How sure is an effect when nothing is assumed of how the rows of a batch hang together?

Ordinary least squares with the cluster-robust covariance. CR1S multiplies the plain sandwich by G(N−1)/((G−1)(N−p));
CR2 turns each cluster's residuals by (I − H_gg)^(−1/2), which makes it unbiased where rows are independent, and takes
Satterthwaite degrees of freedom under that working model: with few clusters z, and CR1S with it, alarm too often.

Sources: Bell & McCaffrey 2002, Survey Methodology 28, 169–181; Pustejovsky & Tipton 2018, J. Bus. Econ. Stat. 36,
672–683.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from analysis.models.arrays import CannotFitError, Floats, Ints
from analysis.models.contrasts import Contrast, interval_of, weights_of
from analysis.models.design import CONSTANT
from analysis.models.frame_rows import bound
from analysis.models.laplace_fit import LaplaceFit
from analysis.models.system import independent_columns

__all__ = ["RobustFit", "cluster_robust_covariance", "robust"]

_LEFT = 1e-10  # a direction of a cluster that the fit reproduces exactly carries no residual


@dataclass(frozen=True, eq=False)
class RobustFit:
    """Least squares with a cluster-robust covariance: ``coefficients`` (p,), ``covariance`` (p, p) of ``names``."""

    names: tuple[str, ...]
    coefficients: Floats
    covariance: Floats
    kind: str
    rows: int
    missing: int
    clusters: int
    dropped: tuple[str, ...]
    basis: Floats = field(repr=False)
    bread: Floats = field(repr=False)
    turned: tuple[Floats, ...] = field(repr=False)
    """For each cluster A_gX_g (n_g, p), in the coordinates of the centred columns."""
    raw: tuple[Floats, ...] = field(repr=False)

    @property
    def standard_errors(self) -> Floats:
        """(p,)."""
        return np.sqrt(np.diagonal(self.covariance))

    def contrast(self, L: str | Mapping[str, float] | ArrayLike, *, level: float = 0.95) -> Contrast:
        """Estimate one combination; CR2 with Satterthwaite degrees of freedom, CR1S with clusters less one."""
        weights = weights_of(self.names, self.dropped, L)
        value = float(weights @ self.coefficients)
        error = float(np.sqrt(weights @ self.covariance @ weights))
        df = self._degrees(weights) if self.kind == "CR2" else self.clusters - 1.0
        low, high = interval_of(value, error, df, level)
        t = value / error
        return Contrast(value, error, df, low, high, level, t, float(2.0 * special.stdtr(df, -abs(t))), self.kind)

    def _degrees(self, weights: Floats) -> float:
        """tr(G)²/tr(G²), G_gh = p_g'p_h with p_g = (I − H)_g A_g X_g (X'X)⁻¹L."""
        toward = self.bread @ (self.basis.T @ weights)
        parts = [turned @ toward for turned in self.turned]
        crossed = np.array([raw.T @ part for raw, part in zip(self.raw, parts, strict=True)])
        gram = np.diag([float(part @ part) for part in parts]) - crossed @ self.bread @ crossed.T
        return float(np.trace(gram) ** 2 / (gram**2).sum())


def robust(formula: str, frame: pd.DataFrame, *, cluster: str, kind: Literal["CR2", "CR1S"] = "CR2") -> RobustFit:
    """Fit by least squares with a covariance robust to what rows of one ``cluster`` have in common.

    Raises
    ------
    ValueError
        If the formula has random terms, the cluster is no column, or the kind is unknown.
    CannotFitError
        If there are fewer than two clusters, or fewer rows than coefficients.
    """
    if kind not in ("CR2", "CR1S"):
        raise ValueError(f"kind must be 'CR2' or 'CR1S', got {kind!r}")
    if cluster not in frame.columns:
        raise ValueError(f"cluster must be a column of the frame, got {cluster!r}")
    used = frame.dropna(subset=[cluster])
    design, rows = bound(formula, used)
    if design.factors:
        raise ValueError("robust: formula must have no random terms; the clusters take their place")
    X, basis, kept = _centred(rows.dense[:, [design.names.index(name) for name in design.fixed]], design.fixed)
    y = rows.dense[:, -1]
    codes, labels = pd.factorize(used.loc[rows.kept, cluster])
    count = len(labels)
    if count < 2 or len(y) <= len(kept):
        raise CannotFitError(f"{count} clusters with {len(y)} rows cannot carry {len(kept)} coefficients")
    bread = np.asarray(np.linalg.inv(X.T @ X))
    beta = bread @ (X.T @ y)
    raw, turned = _pieces(X, np.asarray(codes, dtype=np.int64), count, bread, kind)
    left = y - X @ beta
    scores = np.array([each.T @ left[codes == g] for g, each in enumerate(turned)])
    scale = count * (len(y) - 1) / ((count - 1) * (len(y) - len(kept))) if kind == "CR1S" else 1.0
    return RobustFit(
        names=tuple(design.fixed[k] for k in kept),
        coefficients=basis @ beta,
        covariance=scale * basis @ bread @ (scores.T @ scores) @ bread @ basis.T,
        kind=kind,
        rows=len(y),
        missing=len(frame) - len(y),
        clusters=count,
        dropped=tuple(name for k, name in enumerate(design.fixed) if k not in kept),
        basis=basis,
        bread=bread,
        turned=tuple(turned),
        raw=tuple(raw),
    )


def cluster_robust_covariance(fit: LaplaceFit, clusters: ArrayLike) -> Floats:
    """The sandwich covariance (p, p) of a fit of another family without random terms.

    Without a small-sample correction: with few clusters it is too narrow.

    Parameters
    ----------
    clusters : array, shape (n,)
        The group of each complete row.

    Raises
    ------
    ValueError
        If the fit has random terms, or the clusters are not one for each complete row.
    """
    if fit.groups:
        raise ValueError("cluster_robust_covariance: fit must have no random terms")
    codes, labels = pd.factorize(np.asarray(clusters))
    if len(codes) != fit.rows:
        raise ValueError(f"clusters must be one for each of the {fit.rows} complete rows, got {len(codes)}")
    member = np.zeros((len(labels), fit.row_scores.shape[1]))
    np.add.at(member, codes, fit.row_scores)
    toward = fit.joint_covariance[: len(fit.names)]
    middle = toward @ (member.T @ member) @ toward.T
    return np.asarray(fit.back @ middle @ fit.back.T)


def _centred(raw: Floats, names: tuple[str, ...]) -> tuple[Floats, Floats, Ints]:
    """The independent columns less their means, the way back (p, p), and which they are."""
    centre = raw.mean(axis=0) if CONSTANT in names else np.zeros(raw.shape[1])
    if CONSTANT in names:
        centre[names.index(CONSTANT)] = 0.0
    X = raw - centre
    kept = independent_columns(X.T @ X)
    basis = np.eye(len(kept))
    if CONSTANT in names:
        basis[0] -= centre[kept]
    return X[:, kept], basis, kept


def _pieces(X: Floats, codes: Ints, count: int, bread: Floats, kind: str) -> tuple[list[Floats], list[Floats]]:
    """X_g and A_gX_g of each cluster, A_g = I + U((1 − s²)^(−1/2) − 1)U' with U and s those of X_g (X'X)^(−1/2)."""
    root = np.linalg.cholesky(bread)
    raw = [X[codes == g] for g in range(count)]
    if kind != "CR2":
        return raw, raw
    turned = []
    for piece in raw:
        U, s, _ = np.linalg.svd(piece @ root, full_matrices=False)
        left = 1.0 - s**2
        stretch = np.where(left > _LEFT, 1.0 / np.sqrt(np.maximum(left, _LEFT)), 0.0) - 1.0
        turned.append(piece + U @ (stretch[:, None] * (U.T @ piece)))
    return raw, turned
