"""Texts on a picture that keep out of each other's way: each takes the first free place, with a leader if far."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.canvas import Box, Canvas, Colour
from unfold.drawing.colour import INK, PAPER

GAP = 7.0
_REACHES = (GAP, 24.0, 48.0, 84.0, 130.0)
_DIRECTIONS = ((1, 0), (1, -1), (1, 1), (0, -1), (0, 1), (-1, -1), (-1, 1), (-1, 0))


@dataclass
class Labels:
    """Places texts within `area` of a canvas; `taken` are boxes that nothing may cover."""

    canvas: Canvas
    area: Box
    taken: list[Box] = field(default_factory=list)

    def block_line(self, points: Floats, thickness: float) -> None:
        """Keep texts off a line (n, 2)."""
        half = 0.5 * thickness
        for start, stop in pairwise(points):
            count = max(2, int(np.hypot(*(stop - start)) / max(thickness, 4.0)) + 1)
            for x, y in start + np.linspace(0.0, 1.0, count)[:, None] * (stop - start):
                self.taken.append((x - half, y - half, x + half, y + half))

    def name_box(self, box: Box, words: tuple[str, ...], size: float, colour: Colour = INK) -> None:
        """Name a box: inside on one line, inside on one line a word, or beside it with a leader."""
        for lines in ((" ".join(words),), words):
            place = self._inside(box, lines, size)
            if place is not None:
                self._write(place, lines, size, colour)
                return
        self._beside(box, " ".join(words), size, colour)

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

        Returns whether there was room. Where there is none the text is written all the same, unless it is `optional`.
        """
        width, height = self._size(lines, size)
        start, forth, aside = np.array(at), np.array(way), np.array([-way[1], way[0]])
        reach = 0.5 * (abs(way[0]) * width + abs(way[1]) * height) + GAP
        for far in (0.0, 16.0, 36.0, 60.0, 90.0, 130.0):
            for sideways in (0.0, 30.0, -30.0, 60.0, -60.0, 110.0, -110.0):
                x, y = start + (reach + far) * forth + sideways * aside
                place = self._centred(float(x), float(y), lines, size)
                if self._free(place):
                    if far or sideways:
                        self._lead((*at, *at), place)
                    self._write(place, lines, size, INK)
                    return True
            if optional and far:
                return False
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

    def _beside(self, box: Box, text: str, size: float, colour: Colour) -> None:
        width, height = self._size((text,), size)
        half_x, half_y = 0.5 * (box[2] - box[0]), 0.5 * (box[3] - box[1])
        middle = np.array([0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])])
        for reach in _REACHES:
            for x, y in _DIRECTIONS:
                centre = middle + np.array([x * (half_x + reach + 0.5 * width), y * (half_y + reach + 0.5 * height)])
                place = (
                    centre[0] - 0.5 * width,
                    centre[1] - 0.5 * height,
                    centre[0] + 0.5 * width,
                    centre[1] + 0.5 * height,
                )
                if self._free(place):
                    if reach > GAP or (x and y):
                        self._lead(box, place)
                    self._write(place, (text,), size, colour)
                    return

    def _lead(self, box: Box, place: Box) -> None:
        near = [
            (min(max(0.5 * (b0 + b1), p0), p1))
            for b0, b1, p0, p1 in ((box[0], box[2], place[0], place[2]), (box[1], box[3], place[1], place[3]))
        ]
        far = [
            min(max(value, low), high) for value, low, high in ((near[0], box[0], box[2]), (near[1], box[1], box[3]))
        ]
        leader = np.array([near, far])
        self.canvas.line(leader, PAPER, 4.0)
        self.canvas.line(leader, INK, 1.2)
        self.block_line(leader, 4.0)

    def _write(self, place: Box, lines: tuple[str, ...], size: float, colour: Colour) -> None:
        middle = 0.5 * (place[0] + place[2])
        for number, line in enumerate(lines):
            baseline = place[1] + 0.5 * (_LEADING - 1.0) * size + 0.86 * size + number * _LEADING * size
            self.canvas.text(middle, baseline, line, size, colour, "middle", halo=PAPER)
        self.taken.append(place)

    def _size(self, lines: tuple[str, ...], size: float) -> tuple[float, float]:
        return max(self.canvas.text_width(line, size) for line in lines) + 6.0, _LEADING * size * len(lines)

    def _centred(self, x: float, y: float, lines: tuple[str, ...], size: float) -> Box:
        width, height = self._size(lines, size)
        return (x - 0.5 * width, y - 0.5 * height, x + 0.5 * width, y + 0.5 * height)

    def _free(self, place: Box) -> bool:
        left, top, right, bottom = self.area
        if place[0] < left or place[1] < top or place[2] > right or place[3] > bottom:
            return False
        return not any(
            place[0] < box[2] and place[2] > box[0] and place[1] < box[3] and place[3] > box[1] for box in self.taken
        )


_LEADING = 1.25
