"""The type that pictures and the PDF are set in: DejaVu Sans, whose files come with matplotlib.

Only the files are used: importing matplotlib to draw would cost more than all of a job's pictures.
"""

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from PIL import ImageFont

REGULAR, BOLD = "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"


@cache
def font_file(bold: bool = False) -> Path:
    """Path of the font file.

    Raises FileNotFoundError when matplotlib, which carries the font, is not installed.
    """
    package = find_spec("matplotlib")
    if package is None or not package.submodule_search_locations:
        raise FileNotFoundError("the font DejaVu Sans comes with matplotlib, which is not installed")
    return Path(package.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf" / (BOLD if bold else REGULAR)


@cache
def pixel_font(size: float, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The font at a size in pixels, for pictures."""
    return ImageFont.truetype(str(font_file(bold)), size, layout_engine=ImageFont.Layout.BASIC)
