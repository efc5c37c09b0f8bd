"""[surface]: how flat is flat, and what to assume where a scan cannot show its own error."""

from pydantic import Field, model_validator

from unfold.settings.length import Millimetres
from unfold.settings.table import Table


class StraightedgeRule(Table):
    """One rule of the user's own: a straightedge and the gap allowed under it."""

    id: str = Field(min_length=1, description="name of the rule in the results")
    length: Millimetres = Field(gt=0.0, description="length of the straightedge; a plain number is mm")
    limit: Millimetres = Field(gt=0.0, description="widest gap allowed; a plain number is mm")


class SurfaceSettings(Table):
    """The flatness that is asked for, and the errors to assume where the scan itself cannot show them."""

    tolerance: str = Field(
        "us-large", description="tolerance set: one of unfold/tolerances, or 'own' with [[surface.rule]]"
    )
    rule: tuple[StraightedgeRule, ...] = Field((), description="the user's own rules; used with tolerance = 'own'")
    station_error: Millimetres = Field(
        0.3,
        ge=0.0,
        description="standard uncertainty of a station's place along a wall's normal, where stations do not overlap",
    )
    drift: Millimetres | None = Field(
        None, ge=0.0, description="standard uncertainty from drift of a scan without stations; none: as its point noise"
    )
    recess_reach: Millimetres = Field(
        400.0, gt=0.0, description="how far behind a wall a point may lie and still show a recess of it"
    )

    @model_validator(mode="after")
    def _own_rules_are_given(self) -> "SurfaceSettings":
        if (self.tolerance == "own") != bool(self.rule):
            raise ValueError("tolerance = 'own' and [[surface.rule]] tables go together: give both or neither")
        return self
