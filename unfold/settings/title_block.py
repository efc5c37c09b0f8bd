"""[title_block]: what the drawings' title block says about the job."""

from pydantic import Field

from unfold.settings.table import Table


class TitleBlockSettings(Table):
    """Texts of the title block; empty ones leave room to write by hand. Fields as in ISO 7200 (from memory)."""

    project: str = Field("", max_length=60, description="name of the job, and its address")
    customer: str = Field("", max_length=60, description="for whom the work is done")
    company: str = Field("", max_length=60, description="who does it: the drawings' legal owner")
    drawn_by: str = Field("", max_length=30, description="who made the drawings")
    approved_by: str = Field("", max_length=30, description="who released them for cutting")
    date: str = Field("", max_length=20, description="date of issue, as it is to be printed; nothing is filled in")
    revision: str = Field("", max_length=8, description="index of revision")
