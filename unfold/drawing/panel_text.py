"""Lines of text written into a shape on paper, as large as they fit."""

import numpy as np
import shapely

from unfold.drawing.panel_label import text_place
from unfold.drawing.paper import Paper

TEXT_MM, SMALL_MM, LEAST_MM = 2.5, 1.8, 1.3
LINE_STEP = 1.7
PAD_MM = 0.8


def write_in_shape(
    paper: Paper,
    shape: shapely.Polygon,
    lines: tuple[str, ...],
    rather_clear_of: shapely.Geometry | None = None,
    ground: float | None = None,
) -> None:
    """Write lines into a shape in paper millimetres, the first bold; upright where only that fits, else fewer lines.

    `ground` is a grey that is laid under each line, so that it stays readable over other lines.
    """
    options = []
    for count, heights in ((len(lines), (TEXT_MM, SMALL_MM)), (1, (TEXT_MM, SMALL_MM, LEAST_MM))):
        for height in heights:
            for turned in (False, True):
                options.append((count, height, turned))
    sizes = []
    for count, height, turned in options:
        widest = max(paper.text_width(line, height, number == 0) for number, line in enumerate(lines[:count]))
        size = widest + 2.0 * PAD_MM, (count - 1) * LINE_STEP * height + height + 2.0 * PAD_MM
        sizes.append(size[::-1] if turned else size)
    found = text_place(shape, sizes, rather_clear_of)
    if found is None:
        return
    count, height, turned = options[found[0]]
    for number, line in enumerate(lines[:count]):
        down = (number - (count - 1) / 2.0) * LINE_STEP * height + height / 2.0
        at = found[1] + (np.array([down, 0.0]) if turned else np.array([0.0, -down]))
        bold, turn = number == 0, 90.0 if turned else 0.0
        if ground is not None:
            _lay_ground(paper, at, paper.text_width(line, height, bold), height, turned, ground)
        paper.text(float(at[0]), float(at[1]), line, height, "middle", bold, turn)


def _lay_ground(paper: Paper, at: np.ndarray, width: float, height: float, turned: bool, grey: float) -> None:  # type: ignore[type-arg]
    x, y = float(at[0]), float(at[1])
    pad, half = 0.35 * height, width / 2.0 + 0.4
    box = (x - height - pad, y - half, x + pad, y + half) if turned else (x - half, y - pad, x + half, y + height + pad)
    left, bottom, right, top = box
    paper.ring([(left, bottom), (right, bottom), (right, top), (left, top)], 0.0, fill=grey)
