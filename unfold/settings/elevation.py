"""[elevation]: outlines and openings."""

from pydantic import Field

from unfold.settings.length import Millimetres
from unfold.settings.table import Table


class ElevationSettings(Table):
    level_above_floor_mm: Millimetres = Field(
        1000.0, gt=0, le=3000, description="height of the level datum above the main floor; common practice: 1000 mm"
    )
