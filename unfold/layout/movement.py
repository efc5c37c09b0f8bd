"""Movement joints: how far apart, and how wide so that the cladding's movement fits into the sealant.

Sources: spacing and least width from the movement joint guidelines EJ171 (looked up, quoted); width as the movement
over the sealant's capability, and at least four times the movement (both looked up, quoted).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from unfold.settings.layout import JointSettings, MovementSettings

INTERIOR_SPACING_MM = 25 * 304.8
EXPOSED_SPACING_MM = 12 * 304.8
LEAST_WIDTH_PER_MOVEMENT = 4.0


@dataclass(frozen=True, slots=True)
class MovementSum:
    """What a run of cladding moves, and the joint that takes it; millimetres."""

    length_mm: float
    thermal_mm: float
    moisture_mm: float
    width_mm: float

    @property
    def total_mm(self) -> float:
        """Thermal and moisture movement together."""
        return self.thermal_mm + self.moisture_mm


def movement_spacing_mm(settings: MovementSettings) -> float:
    """Return the greatest distance between movement joints."""
    if settings.spacing is not None:
        return settings.spacing
    return INTERIOR_SPACING_MM if settings.exposure == "interior" else EXPOSED_SPACING_MM


def movement_sum(length_mm: float, movement: MovementSettings, joints: JointSettings) -> MovementSum:
    """Add up what a run of panels moves with temperature and moisture, and size its joint."""
    thermal = length_mm * movement.expansion_per_K * movement.temperature_range_K
    moisture = length_mm / 1000.0 * movement.moisture_mm_per_m
    needed = (thermal + moisture) * max(1.0 / movement.sealant_movement, LEAST_WIDTH_PER_MOVEMENT)
    return MovementSum(length_mm, thermal, moisture, max(needed, movement.least_width, joints.width))


def movement_words(run: MovementSum, movement: MovementSettings) -> str:
    """Show the sum, for the report."""
    return (
        f"{run.length_mm / 1000.0:.2f} m x "
        f"({movement.expansion_per_K * 1e6:g}e-6/K x {movement.temperature_range_K:g} K "
        f"+ {movement.moisture_mm_per_m:g} mm/m) "
        f"= {run.thermal_mm:.2f} + {run.moisture_mm:.2f} = {run.total_mm:.2f} mm; "
        f"a sealant that takes {movement.sealant_movement:.0%} needs "
        f"{run.total_mm / movement.sealant_movement:.1f} mm; "
        f"movement joints are {run.width_mm:.1f} mm wide"
    )


def choose_movement_joints(joints: Sequence[float], low: float, high: float, spacing: float) -> tuple[float, ...]:
    """Choose the fewest of some joints so that no run between them, or to an end, is longer than the spacing.

    The fewest that do are then taken as evenly as they come. Where the joints are too far apart, all of them are taken.
    """
    count = max(math.ceil((high - low) / spacing - 1e-9) - 1, 0)
    places = sorted(joint for joint in joints if low < joint < high)
    while count < len(places):
        even = [low + (high - low) * step / (count + 1) for step in range(1, count + 1)]
        chosen = sorted({min(places, key=lambda place: (abs(place - target), place)) for target in even})
        runs = [after - before for before, after in zip([low, *chosen], [*chosen, high], strict=True)]
        if max(runs) <= spacing + 1e-6:
            return tuple(chosen)
        count += 1
    return tuple(places)
