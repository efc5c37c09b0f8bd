"""Joints of the user's own that need not run from end to end: they meet in crosses, in T, or end at an opening.

Cells are what the joints leave of the plane; where joints meet in an L they are no rectangles. A joint has to end on
another one, in an opening, or beyond the field: an end within a panel would be a slit.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from unfold.layout.pattern import FAR_MM, lines_within
from unfold.layout.result import Joint
from unfold.layout.wall_face import box, polygon_list

TOUCH_MM = 2.0  # an end this near to another joint or an opening is meant to meet it


@dataclass(frozen=True, slots=True)
class OwnJoint:
    """One straight joint: the place of its middle line, and from where to where it runs, millimetres."""

    upright: bool
    place: float
    start: float = -FAR_MM
    end: float = FAR_MM

    def point(self, along: float) -> tuple[float, float]:
        """The point (u, v) of its middle line at a place along its run."""
        return (self.place, along) if self.upright else (along, self.place)

    def strip(self, width: float) -> BaseGeometry:
        """The joint as a region; it ends at the far edge of the joint whose middle line it ends on."""
        half = width / 2.0
        if self.upright:
            return box(self.place - half, self.start - half, self.place + half, self.end + half)
        return box(self.start - half, self.place - half, self.end + half, self.place + half)


@dataclass(frozen=True, slots=True)
class OwnJoints:
    """The joints of one wall; those that run through and are named in a movement set are movement joints."""

    joints: tuple[OwnJoint, ...]
    joint_mm: float
    movement_mm: float = 0.0
    movement_u: frozenset[float] = frozenset()
    movement_v: frozenset[float] = frozenset()

    is_staggered = True

    def cells(self) -> Iterator[tuple[int, int, BaseGeometry]]:
        """Give each cell's row and column, from 1 at the lower left, and its region."""
        plane = box(-FAR_MM, -FAR_MM, FAR_MM, FAR_MM)
        cells = polygon_list(plane.difference(self.joint_region()))
        corners = [cell.bounds[:2] for cell in cells]
        columns, rows = (sorted({corner[axis] for corner in corners}) for axis in (0, 1))
        for cell, (left, low) in zip(cells, corners, strict=True):
            yield rows.index(low) + 1, columns.index(left) + 1, cell

    def joint_region(self) -> BaseGeometry:
        """All joints as one region."""
        return shapely.union_all([strip for strip, *_ in self.strips()])

    def joints_in(self, field: BaseGeometry) -> tuple[Joint, ...]:
        """The joints' centre lines where they run through a region, cut where they leave it."""
        return lines_within(self.strips(), field, self.joint_mm, self.movement_mm)

    def upright_places(self) -> tuple[float, ...]:
        """The u of every upright joint, each once."""
        return tuple(sorted({joint.place for joint in self.joints if joint.upright}))

    def level_places(self) -> tuple[float, ...]:
        """The v of every level joint, each once."""
        return tuple(sorted({joint.place for joint in self.joints if not joint.upright}))

    def strips(self) -> Iterator[tuple[BaseGeometry, BaseGeometry, bool]]:
        """Each joint's strip, centre line, and whether it is a movement joint."""
        for joint in self.joints:
            through = joint.start <= -FAR_MM and joint.end >= FAR_MM
            movement = through and joint.place in (self.movement_u if joint.upright else self.movement_v)
            line = LineString([joint.point(joint.start), joint.point(joint.end)])
            yield joint.strip(self.movement_mm if movement else self.joint_mm), line, movement


def settled(joints: tuple[OwnJoint, ...], region: BaseGeometry, joint_mm: float) -> tuple[OwnJoint, ...]:
    """Let each joint's ends meet what they come near to: another joint's middle line, or the region's boundary.

    Ends that meet nothing stay as they are; see `loose_ends`.
    """
    return tuple(
        OwnJoint(one.upright, one.place, _met(one, one.start, -1.0, joints, region, joint_mm),
                 _met(one, one.end, 1.0, joints, region, joint_mm))
        for one in joints
    )  # fmt: skip


def _met(
    joint: OwnJoint, at: float, onward: float, joints: tuple[OwnJoint, ...], region: BaseGeometry, width: float
) -> float:
    end = Point(joint.point(at))
    for other in joints:
        if other.upright != joint.upright and other.strip(width).distance(end) <= TOUCH_MM:
            return other.place
    if not region.contains(end.buffer(TOUCH_MM)) and abs(at) < FAR_MM:
        return at + 2.0 * onward * TOUCH_MM
    return at


def loose_ends(joints: tuple[OwnJoint, ...], region: BaseGeometry) -> list[tuple[int, float]]:
    """Give the ends that lie within a panel: number of the joint, and where along it, of settled joints."""
    found = []
    for number, joint in enumerate(joints):
        for at in (joint.start, joint.end):
            meets = any(
                other.upright != joint.upright and other.place == at and other.start <= joint.place <= other.end
                for other in joints
            )
            if not meets and region.contains(Point(joint.point(at))):
                found.append((number, at))
    return found
