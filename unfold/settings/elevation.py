"""[elevation]: outlines and openings."""

from unfold.settings.table import Table


class ElevationSettings(Table):
    pass
