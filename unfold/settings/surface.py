"""[surface]: flatness."""

from unfold.settings.table import Table


class SurfaceSettings(Table):
    pass
