"""A value with its standard uncertainty, and the decision whether it keeps within a tolerance.

Sources: JCGM 100:2008 (GUM) for standard uncertainty and its combination; JCGM 106:2012 section 8.3 for guard-banded
acceptance and rejection, here with the guard band w = U = 2 u on both sides of the limit, as ILAC-G8:09/2019 4.2.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["conforms", "does not conform", "cannot be decided"]
COVERAGE_FACTOR = 2.0
_SEVERITY: dict[Verdict, int] = {"conforms": 0, "cannot be decided": 1, "does not conform": 2}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value and its standard uncertainty, both in the unit that the field's name states."""

    value: float
    standard_uncertainty: float

    def __post_init__(self) -> None:
        if not self.standard_uncertainty >= 0.0:
            raise ValueError(f"standard uncertainty must be zero or more, not {self.standard_uncertainty!r}")


def combine(parts: Iterable[float]) -> float:
    """Combine independent standard uncertainties (JCGM 100:2008, 5.1.2): the root of the sum of squares."""
    return math.sqrt(sum(part * part for part in parts))


def decide(worst: float, standard_uncertainty: float, tolerance: float) -> Verdict:
    """Decide by guard-banded acceptance and rejection (JCGM 106:2012, 8.3) with a coverage factor of 2.

    `worst`, its `standard_uncertainty` and the upper `tolerance` share one unit. It conforms when worst + 2 u is
    within the tolerance, does not conform when worst - 2 u is beyond it, and cannot be decided in between. A value or
    an uncertainty that is not a number cannot be decided.
    """
    if not (math.isfinite(worst) and math.isfinite(standard_uncertainty)):
        return "cannot be decided"
    guard = COVERAGE_FACTOR * standard_uncertainty
    if worst + guard <= tolerance:
        return "conforms"
    if worst - guard > tolerance:
        return "does not conform"
    return "cannot be decided"


def worst_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the most severe of some verdicts; with none at all nothing can be decided."""
    return max(verdicts, key=_SEVERITY.__getitem__, default="cannot be decided")
