"""[drawing]: what the drawings look like."""

from unfold.settings.table import Table


class DrawingSettings(Table):
    pass
