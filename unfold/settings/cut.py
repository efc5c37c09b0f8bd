"""[cut]: the files that panels are cut from."""

from typing import Annotated

from pydantic import Field

from unfold.settings.length import Millimetres
from unfold.settings.table import Table


class CutSettings(Table):
    """How cut files are written; their lengths are always millimetres."""

    face_down: bool = Field(
        False, description="true: mirror every cut file, for sheets that lie on the machine with their face down"
    )
    tolerance_mm: Annotated[Millimetres, Field(ge=0.001, le=0.05)] = Field(
        0.05, description="farthest that a cut line may lie from the panel's ring, mm; the project's own limit"
    )
    arcs: bool = Field(True, description="false: straight segments only, for controls that do not read bulges")
