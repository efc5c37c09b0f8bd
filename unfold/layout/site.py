"""What the rules for joints need to know of one wall: ground, largest panels, the user's wishes, movement."""

from dataclasses import dataclass
from typing import Literal

from shapely.geometry.base import BaseGeometry

from unfold.layout.movement import MovementSum
from unfold.layout.own_joints import OwnJoint
from unfold.layout.panels import Ground
from unfold.settings.layout import WallJoints

Orientation = Literal["upright", "lying"]


@dataclass(frozen=True, slots=True)
class PanelLimits:
    """The largest panel that the stock gives, as it hangs on the wall: (width, height) upright and lying.

    `sizes` are those of every kind of sheet, in every direction that the veins allow.
    """

    upright: tuple[float, float] | None
    lying: tuple[float, float] | None
    sizes: tuple[tuple[float, float], ...]

    def of(self, orientation: Orientation) -> tuple[float, float] | None:
        """The largest panel of an orientation."""
        return self.upright if orientation == "upright" else self.lying

    def fits(self, width: float, height: float) -> bool:
        """Tell whether some sheet gives a panel of this size."""
        return any(width <= size[0] + 1e-6 and height <= size[1] + 1e-6 for size in self.sizes)

    def no_wider_than(self, width: float) -> "PanelLimits":
        """The same limits on a wall that asks for narrow panels, as a curved one does."""
        narrowed = [None if size is None else (min(size[0], width), size[1]) for size in (self.upright, self.lying)]
        return PanelLimits(narrowed[0], narrowed[1], tuple((min(size[0], width), size[1]) for size in self.sizes))


@dataclass(frozen=True, slots=True)
class Site:
    """What the rules need to know of one wall."""

    ground: Ground
    coarse: BaseGeometry  # the ground's region with fewer vertices, to judge proposals by
    limits: PanelLimits
    own: WallJoints | None
    movement: MovementSum
    partial: tuple[OwnJoint, ...] = ()  # all of the user's own joints, where some do not run from end to end

    @property
    def large_openings(self) -> tuple[str, ...]:
        """Ids of the doors, windows, niches and other openings that are no service boxes."""
        wall, shapes = self.ground.face.wall, self.ground.face.openings
        return tuple(opening.id for opening in wall.openings if opening.kind != "service" and opening.id in shapes)

    @property
    def boxes(self) -> tuple[str, ...]:
        """Ids of the service boxes and pipes."""
        return tuple(name for name in self.ground.face.openings if name not in self.large_openings)
