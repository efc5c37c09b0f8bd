"""[drawing]: what the drawings look like."""

from typing import Literal

from pydantic import Field

from unfold.settings.table import Table


class DrawingSettings(Table):
    """How lengths are written in pictures, drawings and reports; the numbers in the JSON files stay millimetres."""

    units: Literal["mm", "ft-in"] = Field(
        "mm",
        description="'mm': millimetres alone; 'ft-in': feet and inches with fractions, and the millimetres beside them",
    )
    smallest_fraction: Literal[8, 16, 32, 64] = Field(
        16,
        description="denominator of the smallest fraction of an inch that a length is rounded to; gaps and bows "
        "under an inch are rounded to half of it. Common practice, no published source",
    )
