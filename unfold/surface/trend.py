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
        return np.asarray(self.table(u_mm, v_mm) @ self.coefficients)

    def _vander(self, places: Floats, side: int) -> Floats:
        scaled = np.clip((places - self.middle_mm[side]) / self.half_mm[side], -1.2, 1.2)
        return np.asarray(np.polynomial.legendre.legvander(scaled, self.degree))

    def table(self, u_mm: Floats, v_mm: Floats) -> Floats:
        """The terms at places (n,), (n, terms)."""
        along, up = self._vander(u_mm, 0), self._vander(v_mm, 1)
        return np.stack([along[:, i] * up[:, j] for i, j in _terms(self.degree)], axis=1)


def _terms(degree: int) -> list[tuple[int, int]]:
    return [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]


def fit_trend(u_mm: Floats, v_mm: Floats, z_mm: Floats, weight: Floats) -> Trend:
    """Fit by weighted least squares to data (n,), with as many terms as the data call for.

    The degree is that of the least Bayesian information criterion: a term has to explain more than chance would.
    """
    low, high = (float(u_mm.min()), float(v_mm.min())), (float(u_mm.max()), float(v_mm.max()))
    middle = (0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]))
    half = (max(0.5 * (high[0] - low[0]), 1.0), max(0.5 * (high[1] - low[1]), 1.0))
    most = next(d for d in (_DEGREE, 3, 2, 1, 0) if d == 0 or len(_terms(d)) * _LEAST_DATA_PER_TERM <= len(z_mm))
    table = Trend(middle, half, most, np.zeros(0), np.zeros((0, 0))).table(u_mm, v_mm)
    matrix, right = table.T @ (weight[:, None] * table), table.T @ (weight * z_mm)
    matrix += 1e-9 * np.trace(matrix) / len(matrix) * np.eye(len(matrix))
    square = float(weight @ z_mm**2)
    best: tuple[float, int] | None = None
    for degree in range(min(1, most), most + 1):
        kept = _kept(most, degree)
        rest = max(square - float(right[kept] @ np.linalg.solve(matrix[np.ix_(kept, kept)], right[kept])), 1e-12)
        criterion = len(z_mm) * np.log(rest) + len(kept) * np.log(len(z_mm))
        best = min(best or (np.inf, 0), (criterion, degree))
    degree = best[1] if best else 0
    kept = _kept(most, degree)
    inverse = np.linalg.inv(matrix[np.ix_(kept, kept)])
    return Trend(middle, half, degree, inverse @ right[kept], np.linalg.cholesky(inverse))


def _kept(most: int, degree: int) -> list[int]:
    """Which terms of total degree `most` are of total degree `degree`, in its own order."""
    places = {term: k for k, term in enumerate(_terms(most))}
    return [places[term] for term in _terms(degree)]
