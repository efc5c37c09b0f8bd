"""Openings that many rooms share."""

from tests.simulate.room import OpeningPlan


def service(u: float, v: float, width: float, height: float, depth: float = 0.05) -> OpeningPlan:
    """An open outlet or switch box, its lower left corner at (u, v)."""
    return OpeningPlan("service", u, width, height, v, depth=depth, behind="solid")
