"""[room]: levelling and finding walls."""

from unfold.settings.table import Table


class RoomSettings(Table):
    pass
