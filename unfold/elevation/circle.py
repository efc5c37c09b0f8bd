"""Circles fitted to the rays around them, and held against rectangles."""

from dataclasses import dataclass

import numpy as np

from unfold.arrays import Bools, Floats
from unfold.elevation.local_rays import FAR_MM, SIDE_FACE_MM, Box, LocalRays
from unfold.elevation.point_ring import BLURS_MM, circle_in_points, field_likelihood, point_field, profiled
from unfold.elevation.rings import signed_distance
from unfold.elevation.shapes import Shape, stations_known, turn_back

CIRCLE_POINTS = 90
SIDE_BLUR_MM = 1.5  # of points on a side face across it, the beam's width with them


def fit_circle(rays: LocalRays, box: Box, turn_deg: float, tolerance_mm: float, front_outside: bool) -> Shape | None:
    """Fit a circle by maximum likelihood, the blur with it; None when one side of it holds no ray."""
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    start = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2, (box[2] - box[0] + box[3] - box[1]) / 4])
    if front_outside and not stations_known(rays):
        field = point_field(rays.a, rays.b, rays.depth, box, tolerance_mm)
        found = circle_in_points(field, start)
        return _circle(*found, turn_deg)
    labels = _ring_labels(rays, start, box, tolerance_mm, front_outside).near(start)
    if not (np.any(labels.front) and np.any(~labels.front)):
        return None

    def misfit(parameters: Floats) -> float:
        crossed, ended = (np.hypot(*(at - parameters[:2]).T) - parameters[2] for at in (labels.crossed, labels.side))
        beyond = crossed if front_outside else -crossed
        return -_label_likelihood(beyond, labels.front, float(np.exp(parameters[3]))) - _side_likelihood(ended)

    simplex = np.array([[*start, 0.7]] * 5) + np.diag([6.0, 6.0, 6.0, 0.7, 0.0])[:, :4]
    best = minimize(
        misfit,
        [*start, 0.7],
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.02, "fatol": 0.01, "maxiter": 400},
    )
    middle, radius, uncertainty = profiled(misfit, best.x)
    return _circle(middle, radius, uncertainty, turn_deg)


def _circle(middle: Floats, radius: float, uncertainty: float, turn_deg: float) -> Shape:
    turn = np.linspace(0, 2 * np.pi, CIRCLE_POINTS, endpoint=False)
    ring = middle + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return Shape("circle", turn_back(ring, turn_deg), (2 * radius,), 2 * uncertainty, ())


@dataclass(frozen=True, slots=True)
class _RingLabels:
    """What each ray says of a ring; see `edge_fit` for the reasons."""

    crossed: Floats  # (n, 2) where the ray counts
    front: Bools  # (n,) it met the front piece
    side: Floats  # (m, 2) where rays ended on the side face, which lies at the ring whatever its depth

    def near(self, start: Floats) -> "_RingLabels":
        """Those that count near a rough circle (a, b, radius)."""
        keep = np.hypot(*(self.crossed - start[:2]).T) < start[2] + 40.0
        return _RingLabels(self.crossed[keep], self.front[keep], self.side)


def _ring_labels(rays: LocalRays, start: Floats, box: Box, tolerance_mm: float, front_outside: bool) -> _RingLabels:
    """Tell rays that ended on the side face, within a few millimetres of the rough box or of the rough circle in it."""
    front = rays.depth < tolerance_mm
    crossed, drift = np.column_stack([rays.a, rays.b]), np.column_stack([rays.da, rays.db])
    ended = crossed + drift * np.minimum(rays.depth, FAR_MM)[:, None]
    crossed = np.where(front[:, None], ended, crossed)
    out = np.column_stack([rays.a, rays.b]) - start[:2]
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)
    toward = (drift * out).sum(axis=1) * (1.0 if front_outside else -1.0)
    corners = np.array([[box[0], box[1]], [box[2], box[1]], [box[2], box[3]], [box[0], box[3]]])
    off = np.minimum(np.abs(np.hypot(*(ended - start[:2]).T) - start[2]), np.abs(signed_distance(corners, ended)))
    side = ~front & (toward > 0.02) & (off < SIDE_FACE_MM + tolerance_mm)
    return _RingLabels(crossed[~side], front[~side], ended[side])


def _side_likelihood(off: Floats) -> float:
    """Log-likelihood of points of the side face (n,) at distances from a ring: they lie at it, but for strays."""
    at_ring = np.exp(-0.5 * (off / SIDE_BLUR_MM) ** 2) / (SIDE_BLUR_MM * np.sqrt(2 * np.pi))
    return float(np.log(0.9 * at_ring + 0.1 / (2 * SIDE_FACE_MM)).sum())


def _label_likelihood(beyond: Floats, front: np.ndarray, blur: float) -> float:
    """Log-likelihood of labels at signed distances on the front piece's side of an edge (positive: on it)."""
    share = 1.0 / (1.0 + np.exp(-np.clip(beyond / blur, -40, 40)))
    chance = 0.02 + 0.96 * share
    return float(np.sum(np.log(np.where(front, chance, 1 - chance))))


def ring_likelihood(
    rays: LocalRays, shape: Shape, box: Box, turn_deg: float, tolerance_mm: float, front_outside: bool
) -> float:
    """Log-likelihood of a ring for the rays around it, to compare a circle with a rectangle."""
    if front_outside and not stations_known(rays):
        field = point_field(rays.a, rays.b, rays.depth, box, tolerance_mm)
        cells, side = (signed_distance(shape.ring, turn_back(at, turn_deg)) for at in (field.cells, field.side))
        around = float(np.hypot(*(shape.ring - np.roll(shape.ring, 1, axis=0)).T).sum())
        return max(field_likelihood(field, cells, side, around, blur) for blur in BLURS_MM)
    start = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2, (box[2] - box[0] + box[3] - box[1]) / 4])
    labels = _ring_labels(rays, start, box, tolerance_mm, front_outside)
    distance, ended = (signed_distance(shape.ring, turn_back(at, turn_deg)) for at in (labels.crossed, labels.side))
    beyond = distance if front_outside else -distance
    return max(_label_likelihood(beyond, labels.front, blur) for blur in (0.8, 1.5, 3.0)) + _side_likelihood(ended)


def likeliest_rectangle(rays: LocalRays, shape: Shape, box: Box, turn_deg: float, tolerance_mm: float) -> float:
    """The log-likelihood of the likeliest upright rectangle near a fitted one.

    The fitted one has the mean of each side's posterior, which is not its likeliest place: a circle, which is placed by
    the likelihood alone, would win against it too often.
    """
    from scipy.optimize import minimize  # 0.1 s that most runs need not pay

    turned = turn_back(shape.ring, -turn_deg)
    start = np.concatenate([turned.min(axis=0), turned.max(axis=0)])

    def misfit(sides: Floats) -> float:
        corners = np.array([[sides[0], sides[1]], [sides[2], sides[1]], [sides[2], sides[3]], [sides[0], sides[3]]])
        ring = Shape("rectangle", turn_back(corners, turn_deg), (), 0.0, ())
        return -ring_likelihood(rays, ring, box, turn_deg, tolerance_mm, True)

    simplex = start + np.vstack([np.zeros(4), np.diag([3.0, 3.0, -3.0, -3.0])])
    found = minimize(
        misfit,
        start,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 0.1, "fatol": 0.05, "maxiter": 150},
    )
    return -float(found.fun)
