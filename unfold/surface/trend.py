"""The plain part of a wall's shape: bow, lean and twist as polynomials of low degree.

It is taken out before the spline, whose prior knows no large plain bow: what is left is small, and the spline smooth
where the wall is.
"""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Floats

_DEGREE = 4
_LEAST_DATA_PER_TERM = 40


@dataclass(frozen=True, slots=True)
class Trend:
    """Legendre polynomials over a rectangle, up to a total degree, and the factor of their coefficients' covariance."""

    middle_mm: tuple[float, float]
    half_mm: tuple[float, float]
    degree: int
    coefficients: Floats  # (terms,)
    spread: Floats  # (terms, terms): coefficients of an example are these plus spread @ white noise * sigma of a datum

    def heights(self, u_mm: Floats, v_mm: Floats, coefficients: Floats | None = None) -> Floats:
        """Heights on the grid of columns u_mm (m,) and rows v_mm (n,): (n, m); for rows of coefficients (k, n, m)."""
        used = self.coefficients if coefficients is None else coefficients
        along, up = self._vander(u_mm, 0), self._vander(v_mm, 1)
        tables = np.zeros((*used.shape[:-1], self.degree + 1, self.degree + 1))
        for term, (i, j) in enumerate(_terms(self.degree)):
            tables[..., j, i] = used[..., term]
        return np.asarray(up @ tables @ along.T)

    def draw(self, examples: int, sigma_mm: float, seed: int) -> Floats:
        """Examples of the coefficients (examples, terms), in pairs mirrored about the likeliest ones."""
        white = np.random.default_rng(seed).standard_normal((-(-examples // 2), len(self.coefficients)))
        off = sigma_mm * white @ self.spread.T
        return np.asarray(self.coefficients + np.concatenate([off, -off])[:examples])

    def at(self, u_mm: Floats, v_mm: Floats) -> Floats:
        """Heights at places (n,)."""
        return np.asarray(self._table(u_mm, v_mm) @ self.coefficients)

    def _vander(self, places: Floats, side: int) -> Floats:
        scaled = np.clip((places - self.middle_mm[side]) / self.half_mm[side], -1.2, 1.2)
        return np.asarray(np.polynomial.legendre.legvander(scaled, self.degree))

    def _table(self, u_mm: Floats, v_mm: Floats) -> Floats:
        along, up = self._vander(u_mm, 0), self._vander(v_mm, 1)
        return np.stack([along[:, i] * up[:, j] for i, j in _terms(self.degree)], axis=1)


def _terms(degree: int) -> list[tuple[int, int]]:
    return [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]


def fit_trend(u_mm: Floats, v_mm: Floats, z_mm: Floats, weight: Floats) -> Trend:
    """Fit by weighted least squares to data (n,), of lower degree where the data are few."""
    low, high = (float(u_mm.min()), float(v_mm.min())), (float(u_mm.max()), float(v_mm.max()))
    middle = (0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]))
    half = (max(0.5 * (high[0] - low[0]), 1.0), max(0.5 * (high[1] - low[1]), 1.0))
    degree = next(d for d in (_DEGREE, 3, 2, 1, 0) if d == 0 or len(_terms(d)) * _LEAST_DATA_PER_TERM <= len(z_mm))
    empty = Trend(middle, half, degree, np.zeros(len(_terms(degree))), np.zeros((0, 0)))
    table = empty._table(u_mm, v_mm)
    matrix = table.T @ (weight[:, None] * table)
    matrix += 1e-9 * np.trace(matrix) / len(matrix) * np.eye(len(matrix))
    inverse = np.linalg.inv(matrix)
    return Trend(middle, half, degree, inverse @ (table.T @ (weight * z_mm)), np.linalg.cholesky(inverse))
