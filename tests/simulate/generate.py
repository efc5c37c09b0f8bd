"""One call from a room's name to its scan and its truth."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulate.building import Building, build
from tests.simulate.room import RoomPlan
from tests.simulate.rooms import ROOMS
from tests.simulate.rooms.drawn import drawn_room
from tests.simulate.rooms.rims import rim_room
from tests.simulate.scanner import TRIPOD, Instrument, measure
from tests.simulate.truth import truth_of
from tests.simulate.writers import write_scan
from unfold.arrays import AnyArray

DRAWN = {"random": drawn_room, "rims": rim_room}


def room_named(name: str) -> RoomPlan:
    """A room of the list, by its name, or `random_17` or `rims_17`: the 17th of those drawn at random."""
    if name in ROOMS:
        return ROOMS[name]()
    kind, _, number = name.rpartition("_")
    return DRAWN[kind](int(number))


def _suffix(room: RoomPlan, instrument: Instrument) -> str:
    """A trajectory leaves a file without stations; everything else comes as the room says."""
    return "ply" if instrument.positions else room.suffix


def simulate(
    room: RoomPlan,
    folder: Path,
    instrument: Instrument = TRIPOD,
    seed: int = 0,
    suffix: str | None = None,
    stations: int | None = None,
) -> dict[str, Any]:
    """Write scan and truth of a room into a folder; returns the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    if stations is not None:
        room = replace(room, stations=room.stations[:stations])
    building = build(room)
    scan = folder / f"scan.{suffix or _suffix(room, instrument)}"
    points = write_scan(scan, measure(building, instrument, seed), room.description, room.unit)
    document = write_truth(building, folder, instrument, {"scan": scan.name, "seed": seed, "points": points})
    return document


def write_truth(building: Building, folder: Path, instrument: Instrument, about: dict[str, Any]) -> dict[str, Any]:
    """Write truth.json, with what is known `about` the scan, and truth_heights.npz."""
    document, walls = truth_of(building, instrument)
    document |= {**about, "spacing_mm": instrument.spacing_m * 1000}
    (folder / "truth.json").write_text(json.dumps(document))
    arrays: dict[str, AnyArray] = {}
    for wall in walls:
        name = wall.elevation["id"]
        arrays[f"{name}_height_mm"] = wall.height_mm
        arrays[f"{name}_seen"] = wall.seen
        arrays[f"{name}_well_seen"] = wall.well_seen
        arrays[f"{name}_corner_mm"] = np.array([wall.u0_mm, wall.v0_mm])
    np.savez_compressed(folder / "truth_heights.npz", **arrays)  # type: ignore[arg-type]
    return document
