"""The datum lines that are marked on site: one level for the whole room, and a plumb line on each wall."""

from unfold.elevation.rings import signed_area
from unfold.room.result import Room, Wall


def level_datum_m(room: Room, above_floor_mm: float) -> float:
    """Height of the room's level datum, level coordinates: so far above the main floor, or the lowest wall's foot."""
    floors = [slab for slab in room.slabs if slab.kind == "floor"]
    if floors and room.walls:
        feet = [wall.frame.origin_m for wall in room.walls]
        x, y = sum(foot[0] for foot in feet) / len(feet), sum(foot[1] for foot in feet) / len(feet)
        slab = max(floors, key=lambda floor: sum(abs(signed_area(ring)) for ring in floor.region_m))
        return float(slab.height_m + slab.slope_x * x + slab.slope_y * y) + above_floor_mm / 1000
    return (
        min(float(wall.frame.origin_m[2] + wall.bottom_m * wall.frame.up[2]) for wall in room.walls)
        + above_floor_mm / 1000
    )


def datum_of(wall: Wall, level_m: float) -> tuple[float, float]:
    """v of the level datum on a wall, and u of its plumb line at the middle of the wall, millimetres."""
    v = (level_m - float(wall.frame.origin_m[2])) / float(wall.frame.up[2]) * 1000
    return v, wall.width_m * 500
