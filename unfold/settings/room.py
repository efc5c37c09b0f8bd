"""[room]: levelling and finding walls."""

from typing import Literal

from pydantic import Field, field_validator

from unfold.settings.table import Table

Point = tuple[float, float, float]


class RoomSettings(Table):
    """Which way is up, and what counts as a wall. Marks are in the scan's own coordinates and unit."""

    plumb: Literal["auto", "scanner", "estimated"] = Field(
        "auto",
        description="'auto': marks where given, else a levelled scanner's own axis, else the estimate from walls and "
        "floor; 'scanner': trust the scanner's axis; 'estimated': never trust it",
    )
    plumb_marks: tuple[tuple[Point, Point], ...] = Field(
        (), description="pairs of scan points on one plumb line each, the lower first"
    )
    level_marks: tuple[tuple[Point, Point], ...] = Field(
        (), description="pairs of scan points on one level line each; two lines that cross pin up down"
    )
    mark_uncertainty_mm: float = Field(1.0, gt=0.0, description="standard uncertainty of a mark's position, mm")

    @field_validator("plumb_marks", "level_marks")
    @classmethod
    def _apart(cls, pairs: tuple[tuple[Point, Point], ...]) -> tuple[tuple[Point, Point], ...]:
        for lower, upper in pairs:
            if lower == upper:
                raise ValueError("the two points of a pair must differ")
        return pairs
