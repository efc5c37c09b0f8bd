"""A smooth surface through scattered heights: cubic B-splines with a bending penalty, and how sure they are.

Read as statistics, the penalty is a prior: heights are a smooth random field, data are that field plus noise. How
smooth (the ratio of the two) is found from the data by restricted maximum likelihood; the answer then is not one
surface but a distribution of surfaces, from which `Posterior.draw` takes examples. Whatever is wanted of the surface
(a straightedge's worst, a bow) is worked out on each example, and its scatter is its uncertainty.

References
----------
Eilers and Marx (1996), Flexible smoothing with B-splines and penalties, Statistical Science 11(2), 89-121.
Wahba (1985), A comparison of GCV and GML for choosing the smoothing parameter, Annals of Statistics 13(4), 1378-1402.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.linalg import lapack

from unfold.arrays import Floats
from unfold.surface.spline_kernels import add_bending, add_data

_NEIGHBOURHOOD = 5  # coefficients a side
_HELD = 4.0  # how firmly the whole wall's smoothing holds that of a place, as so many differences
_LOG_STEPS = (-3.0, 9.0)  # log10 of the penalty's least and most weight that are considered


@dataclass(frozen=True, slots=True)
class Knots:
    """An even grid of knots over a rectangle, mm."""

    u0_mm: float
    v0_mm: float
    spacing_mm: float
    across: int  # B-splines along u
    up: int  # along v

    @property
    def shape(self) -> tuple[int, int]:
        """Numbers of B-splines along the slow and the fast index: the fast one is the shorter side."""
        return (self.across, self.up) if self.up <= self.across else (self.up, self.across)

    def spans(self, u_mm: Floats, v_mm: Floats) -> tuple[Floats, Floats]:
        """Places in knot spans along the slow and the fast index."""
        x, y = (u_mm - self.u0_mm) / self.spacing_mm, (v_mm - self.v0_mm) / self.spacing_mm
        return (x, y) if self.up <= self.across else (y, x)

    def coefficients(self, solution: Floats) -> Floats:
        """Turn a solution (unknowns,) into coefficients (up, across)."""
        table = solution.reshape(self.shape)
        return np.asarray(table.T if self.up <= self.across else table)


def knots_over(u_mm: tuple[float, float], v_mm: tuple[float, float], spacing_mm: float) -> Knots:
    """Give knots that cover a rectangle, a little larger where the sides are no multiples of the spacing."""
    spans = [max(1, int(np.ceil((high - low) / spacing_mm - 1e-9))) for low, high in (u_mm, v_mm)]
    return Knots(u_mm[0], v_mm[0], spacing_mm, spans[0] + 3, spans[1] + 3)


def basis(places: Floats, count: int) -> Floats:
    """Cubic B-splines (n, count) at places (n,) in knot spans."""
    first = np.clip(np.floor(places).astype(int), 0, count - 4)
    t = places - first
    s = 1.0 - t
    weights = np.stack([s**3, 3 * t**3 - 6 * t**2 + 4, 3 * s**3 - 6 * s**2 + 4, t**3], axis=1) / 6.0
    table = np.zeros((len(places), count))
    np.put_along_axis(table, first[:, None] + np.arange(4), weights, axis=1)
    return table


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known of a surface: the likeliest one and the factor of its precision."""

    knots: Knots
    solution: Floats  # (unknowns,)
    factor: (
        Floats  # lower band of the Cholesky factor of the precision, in units of 1 / variance of a datum of weight 1
    )
    unit_variance_mm2: float  # variance of a datum of weight 1
    smoothing: float  # the penalty's weight against data of weight 1

    @property
    def unit_mm(self) -> float:
        """Standard deviation of a datum of weight 1."""
        return float(np.sqrt(self.unit_variance_mm2))

    def heights(self, u_mm: Floats, v_mm: Floats) -> Floats:
        """The likeliest surface on the grid of columns u_mm (m,) and rows v_mm (n,); shape (n, m)."""
        return np.asarray(self._on_grid(self.solution[None], u_mm, v_mm)[0])

    def draw(self, examples: int, u_mm: Floats, v_mm: Floats, seed: int = 0) -> Floats:
        """Examples of what the surface may be, (examples, n, m), in pairs mirrored about the likeliest one."""
        return self._on_grid(self.drawn_solutions(examples, seed), u_mm, v_mm)

    def drawn_solutions(self, examples: int, seed: int) -> Floats:
        """Examples of the coefficients, (examples, unknowns), in pairs mirrored about the likeliest ones."""
        half = -(-examples // 2)
        white = np.random.default_rng(seed).standard_normal((len(self.solution), half))
        off, status = lapack.dtbtrs(self.factor, white, uplo="L", trans="T")
        assert status == 0
        off = off.T * np.sqrt(self.unit_variance_mm2)
        return np.asarray(self.solution + np.concatenate([off, -off])[:examples])

    def _on_grid(self, solutions: Floats, u_mm: Floats, v_mm: Floats) -> Floats:
        knots = self.knots
        along = basis((u_mm - knots.u0_mm) / knots.spacing_mm, knots.across)
        up = basis((v_mm - knots.v0_mm) / knots.spacing_mm, knots.up)
        return np.stack([up @ knots.coefficients(one) @ along.T for one in solutions])


@dataclass(frozen=True, slots=True)
class NormalEquations:
    """Data condensed for a knot grid: what every penalty's solution starts from."""

    knots: Knots
    band: Floats
    right: Floats
    square: float  # sum of weight * z**2
    data: int
    bending: Floats  # the penalty's band at weight 1


def condense(knots: Knots, u_mm: Floats, v_mm: Floats, z_mm: Floats, weight: Floats) -> NormalEquations:
    """Condense data (n,) at (u, v) with weights; a datum's variance is the unit variance over its weight."""
    slow, fast = knots.shape
    band = np.zeros((3 * fast + 4, slow * fast))
    right = np.zeros(slow * fast)
    x, y = knots.spans(u_mm, v_mm)
    square = add_data(x, y, z_mm, weight, knots.shape, band, right)
    bending = np.zeros((3 * fast + 4, slow * fast))
    add_bending(np.ones(knots.shape), bending)
    return NormalEquations(knots, band, right, float(square), int((weight > 0).sum()), bending)


def solve(equations: NormalEquations, smoothing: float) -> tuple[Posterior, float]:
    """Solve for one weight of the penalty; also gives minus twice the logarithm of the restricted likelihood."""
    return _solve(equations, smoothing * equations.bending, smoothing)


def _solve(equations: NormalEquations, penalty: Floats, smoothing: float) -> tuple[Posterior, float]:
    matrix = equations.band + penalty
    matrix[0] += 1e-9 * (matrix[0].mean() + 1e-12)  # the plane through no data at all is not determined
    factor, status = lapack.dpbtrf(matrix, lower=1)
    if status != 0:
        raise ValueError(f"the spline's equations are not positive definite (unknown {status})")
    solution, _ = lapack.dpbtrs(factor, equations.right, lower=1)
    freedom = max(equations.data - 3, 1)
    rest = max(equations.square - float(equations.right @ solution), 1e-12)
    variance = rest / freedom
    unknowns = len(solution)
    likelihood = freedom * np.log(variance) + 2.0 * float(np.log(factor[0]).sum()) - (unknowns - 3) * np.log(smoothing)
    return Posterior(equations.knots, solution, factor, variance, smoothing), float(likelihood)


def likeliest(equations: NormalEquations, start: float = 3.0, step: float = 2.0) -> tuple[Posterior, float]:
    """Solve with the smoothing of greatest restricted likelihood, to a quarter of a decade, from 10**start on.

    Also gives minus twice the logarithm of that likelihood.
    """
    tried: dict[float, tuple[Posterior, float]] = {}

    def cost(log_weight: float) -> float:
        if log_weight not in tried:
            tried[log_weight] = solve(equations, 10.0**log_weight)
        return tried[log_weight][1]

    best = float(np.clip(start, *_LOG_STEPS))
    while step > 0.2:
        around = [best] + [x for x in (best - step, best + step) if _LOG_STEPS[0] <= x <= _LOG_STEPS[1]]
        nearest = min(around, key=cost)
        if nearest == best:
            step /= 2.0
        best = nearest
    return tried[best]


def adapted(equations: NormalEquations, first: Posterior, rounds: int = 3) -> Posterior:
    """Let the smoothing differ from place to place: strong where the wall is plain, weak where it has a lump.

    Expectation and maximisation: from examples of the surface, how much it bends about each coefficient; averaged
    over the neighbourhood and drawn toward the whole wall's, that sets the weight of the penalty there.
    """
    posterior = first
    for turn in range(rounds):
        examples = posterior.drawn_solutions(16, seed=100 + turn)
        bent = _bending_of(examples.reshape(-1, *equations.knots.shape)) / posterior.unit_variance_mm2
        around = ndimage.uniform_filter(bent, _NEIGHBOURHOOD, mode="nearest") * (3.0 * _NEIGHBOURHOOD**2 / 2.0)
        held = _HELD / first.smoothing
        weight = (_HELD + 3.0 * _NEIGHBOURHOOD**2 / 2.0) / (held + around)
        penalty = np.zeros_like(equations.bending)
        add_bending(weight, penalty)
        posterior, _ = _solve(equations, penalty, first.smoothing)
    return posterior


def _bending_of(solutions: Floats) -> Floats:
    """Mean square of the three second differences about each coefficient, from examples (n, slow, fast)."""
    total = np.zeros(solutions.shape[1:])
    total[1:-1] += (np.diff(solutions, 2, axis=1) ** 2).mean(axis=0)
    total[:, 1:-1] += (np.diff(solutions, 2, axis=2) ** 2).mean(axis=0)
    total[:-1, :-1] += 2.0 * (np.diff(np.diff(solutions, 1, axis=1), 1, axis=2) ** 2).mean(axis=0)
    total[0], total[-1] = total[1], total[-2]
    total[:, 0], total[:, -1] = total[:, 1], total[:, -2]
    return total / 3.0
