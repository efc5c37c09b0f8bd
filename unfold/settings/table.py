"""The base of every table of job.toml: unknown keys are refused, values do not change after reading."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """One table of job.toml. Every field has a default, and a description that states its unit and source."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
