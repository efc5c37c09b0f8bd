"""Compiled loops of the elevation stage: the likelihood of an edge."""

import math

import numpy as np
from numba import njit

from unfold.arrays import Floats

MIXED_TRIALS = 4.0  # how sharply a mixed point's depth tells its share: as that many yes-or-no rays would


@njit(cache=True, nogil=True)
def _mixed(share: float, front: float) -> float:
    """How likely a mixed point of share `front` is where `share` is expected, against the likeliest place: 0 to 1.

    The binomial likelihood of MIXED_TRIALS trials: far from the edge it falls to nothing on either side.
    """
    share = min(max(share, 1e-12), 1.0 - 1e-12)
    off = front * math.log(share / front) + (1.0 - front) * math.log((1.0 - share) / (1.0 - front))
    return math.exp(MIXED_TRIALS * off)


@njit(cache=True, nogil=True)  # no fastmath: it lets the compiler assume that no value is NaN
def edge_log_likelihood(
    x: Floats, t: Floats, front: Floats, blur: Floats, offset: Floats, slope: Floats, outliers: float
) -> Floats:
    """Log-likelihood of straight edges x = offset + slope * t; shape (offsets, slopes).

    A ray at distance z beyond the edge lies on the front piece with probability
    outliers + (1 - 2 outliers) / (1 + exp(z / blur)), each with its own blur; `front` is the share of the beam that
    did. A share between 0 and 1 is a mixed point, which only an edge within its beam makes: see `_mixed`.
    """
    result = np.zeros((offset.size, slope.size))
    for j in range(slope.size):
        for k in range(x.size):
            across = x[k] - slope[j] * t[k]
            for i in range(offset.size):
                z = (across - offset[i]) / blur[k]
                if z > 40.0:
                    share = 0.0
                elif z < -40.0:
                    share = 1.0
                else:
                    share = 1.0 / (1.0 + math.exp(z))
                if 0.0 < front[k] < 1.0:
                    result[i, j] += math.log(outliers + (1.0 - outliers) * _mixed(share, front[k]))
                    continue
                chance = outliers + (1.0 - 2.0 * outliers) * share
                result[i, j] += math.log(chance) if front[k] == 1.0 else math.log(1.0 - chance)
    return result


@njit(cache=True, nogil=True)
def edge_score(
    x: Floats, t: Floats, front: Floats, blur: Floats, offset: float, slope: float, outliers: float
) -> Floats:
    """Value, gradient and expected information of the same likelihood at one edge, packed in 6 numbers.

    Returns [log-likelihood, d/d offset, d/d slope, information oo, os, ss].
    """
    packed = np.zeros(6)
    for k in range(x.size):
        z = (x[k] - slope * t[k] - offset) / blur[k]
        z = min(max(z, -40.0), 40.0)
        share = 1.0 / (1.0 + math.exp(z))
        if 0.0 < front[k] < 1.0:
            likely = _mixed(share, front[k])
            whole = outliers + (1.0 - outliers) * likely
            packed[0] += math.log(whole)
            belief = (1.0 - outliers) * likely / whole * MIXED_TRIALS
            pull = belief * (front[k] - share) / blur[k]
            weight = belief * share * (1.0 - share) / blur[k] ** 2
            packed[1] += pull
            packed[2] += pull * t[k]
            packed[3] += weight
            packed[4] += weight * t[k]
            packed[5] += weight * t[k] * t[k]
            continue
        chance = outliers + (1.0 - 2.0 * outliers) * share
        packed[0] += math.log(chance) if front[k] == 1.0 else math.log(1.0 - chance)
        rate = (1.0 - 2.0 * outliers) * share * (1.0 - share) / blur[k]  # d chance / d offset
        pull = (front[k] - chance) / (chance * (1.0 - chance)) * rate
        weight = rate * rate / (chance * (1.0 - chance))
        packed[1] += pull
        packed[2] += pull * t[k]
        packed[3] += weight
        packed[4] += weight * t[k]
        packed[5] += weight * t[k] * t[k]
    return packed


@njit(cache=True, nogil=True)
def end_log_likelihood(
    across: Floats,
    along: Floats,
    number: Floats,
    side_x: Floats,
    side_t: Floats,
    blur: float,
    offset: Floats,
    slope: Floats,
    of_arris: float,
    strays: float,
) -> Floats:
    """Log-likelihood that points on a front piece end at x = offset + slope * t; shape (offsets, slopes).

    `number` (bins, strips) counts the front points at `across` and `along`: a mixture of the piece itself up to its
    edge (blurred), of strays anywhere, with their most likely shares, and of a share `of_arris` at the edge. Side
    points (n,) lie at the edge, but for strays, of which there are `strays` per mm.
    """
    result = np.zeros((offset.size, slope.size))
    bins, strips = number.shape
    piece, arris = np.empty((bins, strips)), np.empty((bins, strips))
    for j in range(slope.size):
        for i in range(offset.size):
            all_piece, all_arris = 0.0, 0.0
            for b in range(bins):
                for s in range(strips):
                    z = (across[b] - offset[i] - slope[j] * along[s]) / blur
                    piece[b, s] = 0.5 * math.erfc(z * math.sqrt(0.5))
                    arris[b, s] = math.exp(-0.5 * z * z)
                    all_piece += piece[b, s]
                    all_arris += arris[b, s]
            all_piece, all_arris = max(all_piece, 1e-9), max(all_arris, 1e-9)
            even = 1.0 / (bins * strips)
            of_piece, of_strays = 0.95 * (1.0 - of_arris), 0.05 * (1.0 - of_arris)
            value = 0.0
            for _ in range(12):  # expectation, maximization
                to_piece, to_strays, value = 0.0, 0.0, 0.0
                for b in range(bins):
                    for s in range(strips):
                        if number[b, s] == 0.0:
                            continue
                        a = of_piece * piece[b, s] / all_piece
                        c = of_arris * arris[b, s] / all_arris
                        e = of_strays * even
                        mixed = a + c + e
                        value += number[b, s] * math.log(mixed)
                        to_piece += number[b, s] * a / mixed
                        to_strays += number[b, s] * e / mixed
                both = max(to_piece + to_strays, 1e-9) / (1.0 - of_arris)
                of_piece, of_strays = to_piece / both, to_strays / both
            for k in range(side_x.size):
                z = (side_x[k] - offset[i] - slope[j] * side_t[k]) / blur
                value += math.log(0.95 * math.exp(-0.5 * z * z) / (blur * math.sqrt(2 * math.pi)) + strays)
            result[i, j] = value
    return result
