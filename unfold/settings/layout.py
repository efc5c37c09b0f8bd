"""[layout]: cladding, joints, panels and sheets."""

from unfold.settings.table import Table


class LayoutSettings(Table):
    pass
