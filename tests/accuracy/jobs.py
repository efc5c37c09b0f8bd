"""Simulate a room, run unfold on it, and read what it left."""

import hashlib
import json
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulate.building import Building, build
from tests.simulate.generate import room_named, simulate
from tests.simulate.scanner import Instrument
from unfold.arrays import AnyArray, Floats
from unfold.elevation import unfold_walls
from unfold.job_folder.writing import write_elevations, write_flatness
from unfold.progress import silent
from unfold.room import find_room
from unfold.room.frame import WallFrame
from unfold.scan import open_scan
from unfold.settings import JobSettings
from unfold.surface import measure_surfaces


@dataclass(frozen=True)
class TrueWall:
    """One true wall: its exact surface, its JSON and what was seen of it."""

    data: dict[str, Any]
    frame: WallFrame  # in scan coordinates, metres
    heights_mm: Floats  # (rows, columns)
    seen: AnyArray  # (rows, columns) some ray reaches the wall
    well_seen: AnyArray  # (rows, columns) some station covers it with no gap over 50 mm
    corner_mm: Floats  # (2,) u, v of the grid's corner
    index: int

    @property
    def id(self) -> str:
        return str(self.data["id"])


@dataclass(frozen=True)
class MeasuredWall:
    """One measured wall out of the job folder."""

    data: dict[str, Any]
    flatness: dict[str, Any]
    frame: WallFrame
    surface: dict[str, AnyArray]

    @property
    def id(self) -> str:
        return str(self.data["id"])


@dataclass(frozen=True)
class Case:
    """A room, its truth, and what unfold made of its scan; `failure` says why where there is no job."""

    room: str
    seed: int
    building: Building
    truth: dict[str, Any]
    walls: tuple[TrueWall, ...]
    elevations: dict[str, Any]
    measured: tuple[MeasuredWall, ...]
    seconds: float
    failure: str | None


def run_case(room: str, seed: int, instrument: Instrument, work: Path, keep: bool = False) -> Case:
    """Simulate one room with one seed (or take it from `work`), run unfold and read the job.

    With `keep` a job that is already in `work` is read as it is.
    """
    key = hashlib.sha256(repr((room_named(room), instrument, seed)).encode()).hexdigest()[:12]
    folder = work / f"{room}-{seed}-{key}"
    if not (folder / "truth.json").exists():
        simulate(room_named(room), folder, instrument, seed)
    truth = json.loads((folder / "truth.json").read_text())
    job = folder / "job"
    started = time.monotonic()
    unit = truth["unit"] if truth["scan"].endswith(("ply", "xyz")) else None
    kept = keep and (job / "flatness.json").exists()
    failure = None if kept else _run_unfold(folder / truth["scan"], job, unit)
    seconds = time.monotonic() - started
    building = build(room_named(room))
    walls = _true_walls(truth, folder)
    if failure is not None:
        return Case(room, seed, building, truth, walls, {}, (), seconds, failure)
    elevations = json.loads((job / "elevations.json").read_text())
    return Case(room, seed, building, truth, walls, elevations, _measured_walls(elevations, job), seconds, None)


def _run_unfold(scan_path: Path, job: Path, unit: str | None) -> str | None:
    """Run the stages that the figures come from, all but layout and drawings; returns the complaint where one fails."""
    settings = JobSettings.model_validate({"scan": {"unit": unit}})
    job.mkdir(exist_ok=True)
    try:
        with open_scan([scan_path], settings.scan, silent) as scan:
            room = find_room(scan, settings.room, silent)
            surfaces = measure_surfaces(scan, room, settings.surface, silent)
            elevations = unfold_walls(scan, room, surfaces, settings.elevation, silent)
            write_elevations(elevations, scan.sources, job)
            write_flatness(surfaces, job)
    except Exception as error:  # a fault in one case must not hide the others; it is counted and shown
        return f"{type(error).__name__}: {error}"
    return None


def _frame(data: dict[str, Any]) -> WallFrame:
    frame = data["frame"]
    radius = data.get("radius_mm")
    return WallFrame(
        np.array(frame["origin_scan_m"], float),
        np.array(frame["right"], float),
        np.array(frame["up"], float),
        np.array(frame["inward"], float),
        None if radius is None else radius / 1000 * (1 if data["curvature"] == "concave" else -1),
    )


def _true_walls(truth: dict[str, Any], folder: Path) -> tuple[TrueWall, ...]:
    walls = []
    with np.load(folder / "truth_heights.npz") as arrays:
        for index, data in enumerate(truth["walls"]):
            heights, seen, well, corner = (
                arrays[f"{data['id']}_{name}"] for name in ("height_mm", "seen", "well_seen", "corner_mm")
            )
            walls.append(TrueWall(data, _frame(data), heights, seen, well, corner, index))
    return tuple(walls)


def _measured_walls(elevations: dict[str, Any], job: Path) -> tuple[MeasuredWall, ...]:
    flatness = {wall["id"]: wall for wall in json.loads((job / "flatness.json").read_text())["walls"]}
    walls = []
    for data in elevations["walls"]:
        flat = flatness[data["id"]]
        with np.load(job / flat["surface"]) as arrays:
            walls.append(MeasuredWall(data, flat, _frame(data), {name: arrays[name] for name in arrays.files}))
    return tuple(walls)


def with_spacing(instrument: Instrument, spacing_mm: float | None) -> Instrument:
    """The instrument with another point spacing."""
    return instrument if spacing_mm is None else replace(instrument, spacing_m=spacing_mm / 1000)
