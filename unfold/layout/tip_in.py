"""Can a panel be stood up into its place between floor and ceiling? The swept shape, seen from the side.

The panel leans with its top out into the room by an angle a from upright, and is brought upright. Its foot slides
along the floor as it likes, so only the height of the leaning shape counts. Over its lowest point it reaches

    H cos a + t sin a                     from the front corner of the foot to the back corner of the top,
    (H - b) cos a + (t + f) sin a         from the lower corner of a lifting frame, when that hangs lower than the foot,

with the panel's height H and thickness t, the frame's depth f, and b from the foot to the frame's lower end. Each is a
circle's arc: R cos(a - c) with R = hypot of its two factors, largest at a = c.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LiftingFrame:
    """A frame with suction cups on the panel's front: how far it stands out, and where it begins above the foot."""

    depth_mm: float
    above_foot_mm: float

    def __post_init__(self) -> None:
        if self.depth_mm < 0.0 or self.above_foot_mm < 0.0:
            raise ValueError("a lifting frame's depth and its place above the foot cannot be negative")


NO_FRAME = LiftingFrame(0.0, 0.0)


def swept_height_mm(height_mm: float, thickness_mm: float, frame: LiftingFrame = NO_FRAME) -> float:
    """Return the greatest height that the panel takes on its way from flat to upright."""
    panel = _greatest(height_mm, thickness_mm, 0.0, math.pi / 2)
    if frame.depth_mm == 0.0:
        return panel
    touches = math.atan2(frame.above_foot_mm, frame.depth_mm)  # from here on the frame hangs lower than the foot
    over_frame = _greatest(height_mm - frame.above_foot_mm, thickness_mm + frame.depth_mm, touches, math.pi / 2)
    return max(panel, over_frame)


def _greatest(along: float, across: float, least: float, most: float) -> float:
    """Return the greatest of along cos a + across sin a for least <= a <= most."""
    angle = min(max(math.atan2(across, along), least), most)
    return along * math.cos(angle) + across * math.sin(angle)
