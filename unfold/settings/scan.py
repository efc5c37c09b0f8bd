"""[scan]: how to read the files."""

from typing import Literal

from pydantic import Field

from unfold.settings.table import Table

LengthUnit = Literal["m", "mm", "cm", "ft", "us-ft", "in"]


class ScanSettings(Table):
    unit: LengthUnit | None = Field(None, description="length unit of files that state none; None: infer it and say so")
