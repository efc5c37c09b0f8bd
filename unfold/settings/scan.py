"""[scan]: how to read the files."""

from typing import Annotated, Literal

from pydantic import Field

from unfold.settings.length import Millimetres
from unfold.settings.table import Table

LengthUnit = Literal["m", "mm", "cm", "ft", "us-ft", "in"]
Position = Annotated[tuple[float, float, float], Field(description="x, y, z in metres, scan coordinates")]


class ScanSettings(Table):
    unit: LengthUnit | None = Field(None, description="length unit of files that state none; None: infer it and say so")
    stations: tuple[Position, ...] = Field(
        (),
        description="where the scanner stood, in metres in the scan's coordinates, for the set-ups whose file does not "
        "say, in the order of the files; as many as there are such set-ups, or none",
    )
    mesh_spacing_mm: Millimetres = Field(
        5.0, ge=1.0, le=100.0, description="distance between the points that are spread over a mesh, millimetres"
    )
