"""What an opening is called, from its size, where it stands and what the rays met inside."""

from unfold.elevation.inside import Inside
from unfold.elevation.result import OpeningKind

SERVICE_MOST_MM = 260.0  # outlet and switch boxes for up to three units, pipes and cables
PASSABLE_WIDTH_MM = (500.0, 2200.0)  # single and double doors
PASSABLE_HEIGHT_MM = 1750.0
LEAFLESS_WIDTH_MM = 2000.0  # wider than a double door and without leaf or casing it is a passage
PANE_SHARE = 0.03
FRAME_SHARE = 0.4
FEW_DEEPER = 0.1  # of the rays that reached a back and may have passed its edge, or strayed


def kind_of(size_mm: tuple[float, ...], reaches_floor: bool, cased: bool, inside: Inside) -> OpeningKind:
    """Name an opening; common practice, no published source: the handoff's kinds, told apart by evidence."""
    width, height = size_mm[0], size_mm[-1]
    if max(width, height) <= SERVICE_MOST_MM:
        return "service"
    closed = inside.through_share < 0.2
    if reaches_floor:
        if not (PASSABLE_WIDTH_MM[0] <= width <= PASSABLE_WIDTH_MM[1] and height >= PASSABLE_HEIGHT_MM):
            return "niche" if closed else "opening"
        return "door" if cased or closed or width <= LEAFLESS_WIDTH_MM else "opening"
    if closed and inside.deeper_share < FEW_DEEPER:
        return "niche"
    pane = inside.back_share >= PANE_SHARE or inside.frame_share >= FRAME_SHARE
    return "window" if pane else "opening"
