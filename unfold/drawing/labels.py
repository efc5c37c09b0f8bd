"""Texts on a picture that keep out of each other's way: each takes the first free place, with a leader if far."""

from itertools import pairwise

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.canvas import Box, Colour, Pen
from unfold.drawing.colour import INK, PAPER

GAP = 7.0
LEADING = 1.25
_REACHES = (GAP, 24.0, 48.0, 84.0, 130.0, 190.0, 260.0)
_DIRECTIONS = ((1, 0), (1, -1), (1, 1), (0, -1), (0, 1), (-1, -1), (-1, 1), (-1, 0))
_FORTH = (0.0, 16.0, 36.0, 60.0, 90.0, 130.0, 180.0)
_SIDEWAYS = (0.0, 30.0, -30.0, 60.0, -60.0, 110.0, -110.0)


class Labels:
    """Places texts within `area` of a picture."""

    def __init__(self, pen: Pen, area: Box) -> None:
        self.pen, self.area = pen, area
        self._taken = _Boxes()  # what no text may cover
        self._texts = _Boxes()  # what no leader may cross

    def block(self, box: Box) -> None:
        """Keep texts off a box."""
        self._taken.add(np.array([box]))

    def block_line(self, points: Floats, thickness: float) -> None:
        """Keep texts off a line (n, 2)."""
        places = np.concatenate([_along(start, stop, max(thickness, 4.0)) for start, stop in pairwise(points)])
        self._taken.add(np.concatenate([places - 0.5 * thickness, places + 0.5 * thickness], axis=1))

    def name_box(self, box: Box, words: tuple[str, ...], size: float, colour: Colour = INK) -> None:
        """Name a box: inside on one line, inside on one line a word, or beside it with a leader.

        Where there is no room the first word alone is tried, and at last written small on the box.
        """
        for lines in ((" ".join(words),), words):
            place = self._inside(box, lines, size)
            if place is not None:
                self._write(place, lines, size, colour)
                return
        if self._beside(box, " ".join(words), size, colour) or self._beside(box, words[0], size, colour):
            return
        x, y = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
        self._write(self._centred(x, y, words[:1], 0.7 * size), words[:1], 0.7 * size, colour)

    def try_at(self, points: Floats, text: str, size: float, colour: Colour) -> bool:
        """Write a text centred on the first of some points (n, 2) where it is free; returns whether it was written."""
        for x, y in points:
            place = self._centred(x, y, (text,), size)
            if self._free(place):
                self._write(place, (text,), size, colour)
                return True
        return False

    def name_toward(
        self,
        at: tuple[float, float],
        way: tuple[float, float],
        lines: tuple[str, ...],
        size: float,
        optional: bool = False,
    ) -> bool:
        """Name a position on the side that `way` (unit) points to: near, or farther off and aside with a leader.

        Where there is no room there, the other side is tried, then leaders that cross texts, and at last the text is
        written all the same, unless it is `optional`. Returns whether there was room.
        """
        width, height = self._size(lines, size)
        start, forth, aside = np.array(at), np.array(way), np.array([-way[1], way[0]])
        reach = 0.5 * (abs(way[0]) * width + abs(way[1]) * height) + GAP
        tries = [(1.0, far, sideways, False) for far in (_FORTH[:2] if optional else _FORTH) for sideways in _SIDEWAYS]
        if not optional:
            tries += [(-1.0, far, sideways, False) for far in _FORTH[1:] for sideways in _SIDEWAYS]
            tries += [(1.0, far, sideways, True) for far in _FORTH for sideways in _SIDEWAYS]
        for side, far, sideways, crossing in tries:
            x, y = start + side * (reach + far) * forth + sideways * aside
            place = self._centred(float(x), float(y), lines, size)
            leads = side < 0.0 or far > 0.0 or sideways != 0.0
            if self._place((*at, *at), place, lines, size, INK, leads, crossing):
                return True
        if not optional:
            x, y = start + reach * forth
            self._write(self._centred(float(x), float(y), lines, size), lines, size, INK)
        return False

    def _inside(self, box: Box, lines: tuple[str, ...], size: float) -> Box | None:
        middle_x, middle_y = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
        for share in (0.0, 0.25, -0.25, 0.38, -0.38):
            place = self._centred(middle_x, middle_y - share * (box[3] - box[1]), lines, size)
            fits = place[0] > box[0] and place[2] < box[2] and place[1] > box[1] and place[3] < box[3]
            if fits and self._free(place):
                return place
        return None

    def _beside(self, box: Box, text: str, size: float, colour: Colour) -> bool:
        width, height = self._size((text,), size)
        half = 0.5 * np.array([box[2] - box[0] + width, box[3] - box[1] + height])
        middle = 0.5 * np.array([box[0] + box[2], box[1] + box[3]])
        for reach in _REACHES:
            for way in _DIRECTIONS:
                x, y = middle + np.array(way) * (half + reach)
                place = self._centred(float(x), float(y), (text,), size)
                leads = reach > GAP or (way[0] != 0 and way[1] != 0)
                if self._place(box, place, (text,), size, colour, leads):
                    return True
        return False

    def _place(
        self,
        box: Box,
        place: Box,
        lines: tuple[str, ...],
        size: float,
        colour: Colour,
        leads: bool,
        crossing: bool = False,
    ) -> bool:
        """Write a text for a box at a place if that is free, with a leader where it `leads`; returns whether it was.

        The leader has to be free of texts too, unless `crossing` them is allowed.
        """
        if not self._free(place):
            return False
        if leads:
            leader = _leader(box, place)
            if not crossing and self._texts.touch(np.tile(_along(leader[0], leader[1], 5.0), 2)):
                return False
            self.pen.line(leader, PAPER, 4.0)
            self.pen.line(leader, INK, 1.2)
            self.block_line(leader, 4.0)
        self._write(place, lines, size, colour)
        return True

    def _write(self, place: Box, lines: tuple[str, ...], size: float, colour: Colour) -> None:
        middle = 0.5 * (place[0] + place[2])
        for number, line in enumerate(lines):
            baseline = place[1] + (0.5 * (LEADING - 1.0) + 0.86 + number * LEADING) * size
            self.pen.text(middle, baseline, line, size, colour, "middle", halo=PAPER)
        self._taken.add(np.array([place]))
        self._texts.add(np.array([place]))

    def _size(self, lines: tuple[str, ...], size: float) -> tuple[float, float]:
        return max(self.pen.text_width(line, size) for line in lines) + 6.0, LEADING * size * len(lines)

    def _centred(self, x: float, y: float, lines: tuple[str, ...], size: float) -> Box:
        width, height = self._size(lines, size)
        return (x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height)

    def _free(self, place: Box) -> bool:
        left, top, right, bottom = self.area
        inside = place[0] >= left and place[1] >= top and place[2] <= right and place[3] <= bottom
        return inside and not self._taken.touch(np.array([place]))


class _Boxes:
    """A growing set of boxes (n, 4) that answers whether others touch it."""

    def __init__(self) -> None:
        self._boxes = np.empty((256, 4))
        self._count = 0

    def add(self, boxes: Floats) -> None:
        while self._count + len(boxes) > len(self._boxes):
            self._boxes = np.concatenate([self._boxes, np.empty_like(self._boxes)])
        self._boxes[self._count : self._count + len(boxes)] = boxes
        self._count += len(boxes)

    def touch(self, boxes: Floats) -> bool:
        mine = self._boxes[: self._count]
        apart = (boxes[:, None, :2] > mine[None, :, 2:]) | (boxes[:, None, 2:] < mine[None, :, :2])
        return bool((~apart.any(axis=2)).any())


def _leader(box: Box, place: Box) -> Floats:
    """The shortest line (2, 2) from a text's box to the box it names."""
    ends = []
    for low, high, text_low, text_high in ((box[0], box[2], place[0], place[2]), (box[1], box[3], place[1], place[3])):
        near = min(max(0.5 * (low + high), text_low), text_high)
        ends.append((near, min(max(near, low), high)))
    return np.array(ends).T


def _along(start: Floats, stop: Floats, step: float) -> Floats:
    """Points (n, 2) from start to stop, both included, about `step` apart."""
    count = max(2, int(np.hypot(*(stop - start)) / step) + 1)
    points: Floats = start + np.linspace(0.0, 1.0, count)[:, None] * (stop - start)
    return points
