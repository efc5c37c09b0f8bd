"""Settings that only the measured walls can prove wrong: each names the line in job.toml and what is allowed."""

from collections.abc import Iterable, Mapping

from unfold.elevation.result import WallElevation
from unfold.errors import SettingsError
from unfold.layout.own_joints import loose_ends
from unfold.layout.site import PanelLimits, Site
from unfold.settings.layout import LayoutSettings


def check_names(settings: LayoutSettings, walls: Iterable[str]) -> None:
    """Refuse settings that name a wall that the job does not have."""
    known = list(walls)
    named: list[tuple[tuple[str | int, ...], str]] = []
    named += [(("layout", "walls", index), name) for index, name in enumerate(settings.walls or ())]
    named += [(("layout", "leave_out", index), name) for index, name in enumerate(settings.leave_out)]
    named += [(("layout", "face", index, "wall"), face.wall) for index, face in enumerate(settings.face)]
    named += [(("layout", "wall", index, "wall"), own.wall) for index, own in enumerate(settings.wall)]
    named += [(("layout", "own_joint", index, "wall"), joint.wall) for index, joint in enumerate(settings.own_joint)]
    for index, corner in enumerate(settings.corner):
        named += [(("layout", "corner", index, "walls"), name) for name in corner.walls]
    for keys, name in named:
        if name not in known:
            raise SettingsError(
                f"{settings.source.place(*keys)}: there is no wall {name!r}", f"use one of {', '.join(known)}"
            )


def check_corners(settings: LayoutSettings, walls: Iterable[WallElevation]) -> None:
    """Refuse a corner whose two walls do not meet in an inside corner."""
    met = {
        frozenset((wall.id, edge.neighbour))
        for wall in walls
        for edge in wall.edges
        if edge.kind == "inside_corner" and edge.neighbour is not None
    }
    for index, corner in enumerate(settings.corner):
        if frozenset(corner.walls) not in met:
            where = settings.source.place("layout", "corner", index, "walls")
            known = ", ".join(sorted("-".join(sorted(pair)) for pair in met)) or "none"
            raise SettingsError(
                f"{where}: {corner.walls[0]} and {corner.walls[1]} do not meet in an inside corner",
                f"use two walls that do: {known}",
            )


def panel_limits(settings: LayoutSettings) -> PanelLimits:
    """Return the largest panels that some sheet gives after trimming.

    Raises SettingsError when trimming leaves nothing of every sheet.
    """
    usable: list[tuple[float, float]] = [
        (kind.length - 2.0 * settings.cutting.trim, kind.width - 2.0 * settings.cutting.trim) for kind in settings.stock
    ]
    usable = [size for size in usable if min(size) > 0.0]
    if not usable:
        place = settings.source.place("layout", "cutting", "trim")
        narrowest = min(min(kind.length, kind.width) for kind in settings.stock)
        raise SettingsError(
            f"{place}: trimming {settings.cutting.trim:g} mm all round leaves nothing of a sheet",
            f"trim less than half of the sheet's width of {narrowest:g} mm",
        )
    along, across = max(usable, key=lambda size: size[0] * size[1])
    directional = any(kind.directional for kind in settings.stock)
    lying, upright = (along, across), (across, along)
    turned = tuple((size[1], size[0]) for size in usable)
    if not directional:
        return PanelLimits(upright, lying, (*usable, *turned))
    if settings.veins.direction == "up":
        return PanelLimits(upright, None, turned)
    return PanelLimits(None, lying, tuple(usable))


def check_orientations(limits: PanelLimits, settings: LayoutSettings) -> None:
    """Refuse an orientation that the veins' direction does not allow."""
    asked: list[tuple[tuple[str | int, ...], str | None]] = [
        (("layout", "joints", "orientation"), settings.joints.orientation)
    ]
    asked += [(("layout", "wall", n, "orientation"), own.orientation) for n, own in enumerate(settings.wall)]
    for keys, orientation in asked:
        if (orientation == "upright" and limits.upright is None) or (orientation == "lying" and limits.lying is None):
            raise SettingsError(
                f"{settings.source.place(*keys)}: {orientation} panels do not go with veins that run "
                f"{settings.veins.direction} the wall",
                "write 'any', or change [layout.veins] direction",
            )


def check_own_joints(sites: Mapping[str, Site], settings: LayoutSettings) -> None:
    """Refuse joints that lie outside their wall's field."""
    for index, own in enumerate(settings.wall):
        site = sites.get(own.wall)
        if site is None or site.ground.region.is_empty:
            continue
        left, low, right, high = site.ground.region.bounds
        for key, places, ends in (("joints_u", own.joints_u, (left, right)), ("joints_v", own.joints_v, (low, high))):
            for number, place in enumerate(places or ()):
                if not ends[0] < place < ends[1]:
                    where = settings.source.place("layout", "wall", index, key, number)
                    what = f"{where}: the joint at {place:g} mm lies outside {own.wall}"
                    raise SettingsError(what, f"give a place between {ends[0]:.0f} and {ends[1]:.0f} mm")
    for wall, site in sites.items():
        _check_partial_joints(wall, site, settings)


def _check_partial_joints(wall: str, site: Site, settings: LayoutSettings) -> None:
    """Refuse joints of the user's own that lie outside the field, or end within a panel."""
    if not site.partial or site.ground.region.is_empty:
        return
    left, low, right, high = site.ground.region.bounds
    numbers = [index for index, joint in enumerate(settings.own_joint) if joint.wall == wall]
    for number, joint in zip(numbers, site.partial, strict=False):
        key, ends = ("u", (left, right)) if joint.upright else ("v", (low, high))
        if not ends[0] < joint.place < ends[1]:
            where = settings.source.place("layout", "own_joint", number, key)
            what = f"{where}: the joint at {joint.place:g} mm lies outside {wall}"
            raise SettingsError(what, f"give a place between {ends[0]:.0f} and {ends[1]:.0f} mm")
    for index, at in loose_ends(site.partial, site.ground.region):
        if index < len(numbers):
            key = "start" if at == site.partial[index].start else "end"
            where = settings.source.place("layout", "own_joint", numbers[index], key)
            raise SettingsError(
                f"{where}: the joint ends at {at:g} mm, within a panel of {wall}",
                f"end it on another joint's centre or an opening's edge, or leave {key} out",
            )


def check_panel_sizes(wall: str, sizes_mm: Iterable[tuple[float, float]], site: Site, settings: LayoutSettings) -> None:
    """Refuse joints of the user's own that leave a panel larger than any sheet after trimming."""
    for width, height in sizes_mm:
        if site.limits.fits(width, height):
            continue
        index = next((number for number, own in enumerate(settings.wall) if own.wall == wall), None)
        keys: tuple[str | int, ...] = ("layout", "stock")
        if index is not None:
            keys = ("layout", "wall", index, "joints_v" if settings.wall[index].joints_u is None else "joints_u")
        elif site.partial:
            keys = ("layout", "own_joint", next(n for n, one in enumerate(settings.own_joint) if one.wall == wall))
        largest = " or ".join(f"{w:.0f} x {h:.0f}" for w, h in filter(None, (site.limits.upright, site.limits.lying)))
        where = settings.source.place(*keys)
        raise SettingsError(
            f"{where}: {wall} gets a panel of {width:.0f} x {height:.0f} mm, larger than any sheet",
            f"add joints, or larger stock; after trimming the largest panel is {largest} mm (width x height)",
        )
