"""The instrument: where its rays go, and what its range measurement does to the truth."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tests.simulate.building import Building
from tests.simulate.kernels import trace_all
from tests.simulate.sheets import Packed, pack
from unfold.arrays import AnyArray, Floats

FAR_M = 40.0
BLOCK_RAYS = 400_000
LEAST_REFERENCE_M = 2.0  # in a small room the spacing is that at this range


@dataclass(frozen=True)
class Instrument:
    """What a scanner does. Lengths in metres, 1 sigma.

    Range noise grows with range and incidence; a beam of `beam_m` + `divergence` x range averages what it lights, and
    where that is far apart it may report a place between (a mixed point).
    """

    name: str = "tripod"
    noise_m: float = 0.001
    angle_noise: float = 3e-5  # radians
    beam_m: float = 0.004
    divergence: float = 0.0003
    registration_m: float = 0.0002
    registration_turn: float = 3e-5
    drift_m: float = 0.0  # smooth, along a trajectory
    spacing_m: float = 0.006  # at the median range from each station, or at LEAST_REFERENCE_M
    dropout: float = 0.01
    lowest_deg: float = -62.0
    highest_deg: float = 90.0
    positions: int = 0  # over 0: a trajectory, no stations


TRIPOD = Instrument()
HANDHELD = Instrument(
    "handheld",
    noise_m=0.005,
    angle_noise=2e-4,
    beam_m=0.006,
    divergence=0.001,
    registration_m=0.0,
    registration_turn=0.0,
    drift_m=0.005,
    spacing_m=0.006,
    dropout=0.03,
    lowest_deg=-85.0,
    positions=40,
)
PROFILES = {"tripod": TRIPOD, "handheld": HANDHELD}


@dataclass(frozen=True)
class StationScan:
    """What one set-up returned, in its own coordinates, and the pose that the file will state. Metres."""

    name: str
    points: Floats  # (n, 3)
    escaped: Floats  # (m, 3) unit directions of rays that met nothing
    intensity: Floats  # (n,) 0..1
    turn: Floats  # (3, 3) scan from station, as stated
    position: Floats  # (3,) as stated, in scan coordinates
    true_position: Floats  # (3,) in room coordinates


def scan_from_room(building: Building) -> tuple[Floats, Floats]:
    """The turn and offset that take room coordinates to the scan's."""
    tilt = math.radians(building.room.scan_tilt_deg)
    lean = np.array([[1.0, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    turn = np.asarray(lean @ _about_z(math.radians(building.room.yaw_deg)))
    return turn, np.asarray(building.room.offset, float)


def measure(building: Building, instrument: Instrument, seed: int) -> Iterator[StationScan]:
    """Scan a building from its stations, or along its path; the same seed gives the same scan."""
    scene = pack(building.sheets)
    random = np.random.default_rng([seed, 20_241])
    if instrument.positions:
        yield from _handheld(building, scene, instrument, random)
        return
    for index, place in enumerate(building.room.stations):
        yield _station(building, scene, instrument, random, index, np.array(place))


def _station(
    building: Building, scene: Packed, instrument: Instrument, random: np.random.Generator, index: int, place: Floats
) -> StationScan:
    step = instrument.spacing_m / median_range(scene, index, place)
    stand = _about_z(random.uniform(0, 2 * math.pi)) @ _tilt(building.room.tilt_deg, random)
    points, escaped, intensity = _sweep(scene, instrument, random, index, place, stand, step, step)
    turn, offset = scan_from_room(building)
    wrong = _small_turn(random.normal(0, instrument.registration_turn, 3))
    shift = random.normal(0, instrument.registration_m, 3)
    return StationScan(
        f"station {index + 1}", points, escaped, intensity, wrong @ turn @ stand, turn @ place + offset + shift, place
    )


def _sweep(
    scene: Packed,
    instrument: Instrument,
    random: np.random.Generator,
    index: int,
    place: Floats,
    stand: Floats,
    step: float,
    step_up: float,
    share: float = 1.0,
) -> tuple[Floats, Floats, Floats]:
    """A full turn of the instrument; points in its own coordinates."""
    azimuth = np.arange(0, 2 * math.pi * share, step) + random.uniform(0, step)
    lift = np.arange(math.radians(instrument.lowest_deg), math.radians(instrument.highest_deg) - step_up / 2, step_up)
    columns = max(8, BLOCK_RAYS // len(lift))
    parts = [
        _block(scene, instrument, random, index, place, stand, azimuth[i : i + columns], lift)
        for i in range(0, len(azimuth), columns)
    ]
    return tuple(np.concatenate(part) for part in zip(*parts, strict=True))  # type: ignore[return-value]


def _block(
    scene: Packed,
    instrument: Instrument,
    random: np.random.Generator,
    index: int,
    place: Floats,
    stand: Floats,
    azimuth: Floats,
    lift: Floats,
) -> tuple[Floats, Floats, Floats]:
    a, e = np.meshgrid(azimuth, lift, indexing="ij")
    rays = np.stack([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)], axis=-1).reshape(-1, 3)
    luck = random.random(len(rays))
    ranges, sheets = trace_all(scene, index, place, rays @ stand.T, FAR_M, luck)
    # zenith rows repeat the same directions; thin them to the spacing of the horizon
    keep = random.random(len(rays)) < np.cos(e).ravel()
    edge = _beside_an_edge(sheets.reshape(a.shape), ranges.reshape(a.shape)).ravel() & keep & (sheets >= 0)
    ranges[edge] = _footprint(scene, instrument, random, index, place, stand, rays[edge], ranges[edge], luck[edge])
    hit = keep & (sheets >= 0) & (random.random(len(rays)) >= instrument.dropout)
    incidence = _incidence(scene, sheets, rays @ stand.T)
    hit &= random.random(len(rays)) < np.clip((incidence - 0.03) / 0.07, 0, 1)
    sigma = (
        instrument.noise_m * (0.8 + 0.04 * ranges) * np.minimum(1 + 0.15 * (1 / np.maximum(incidence, 0.1) - 1), 2.5)
    )
    measured = ranges + random.normal(0, 1, len(rays)) * sigma
    turned = rays + random.normal(0, instrument.angle_noise, rays.shape)
    turned /= np.linalg.norm(turned, axis=1, keepdims=True)
    intensity = np.clip(0.2 + 0.6 * incidence + random.normal(0, 0.03, len(rays)), 0, 1)
    return turned[hit] * measured[hit, None], rays[keep & (sheets < 0)], intensity[hit]


def _incidence(scene: Packed, sheets: AnyArray, rays: Floats) -> Floats:
    """Cosine of incidence on the base plane; 0.7 stands for curved sheets."""
    index = np.maximum(sheets, 0)
    cosine = np.abs(np.einsum("ij,ij->i", scene.axes[index, 2], rays))
    return np.where(scene.radius[index] == 0, cosine, 0.7)


def _beside_an_edge(sheets: AnyArray, ranges: Floats) -> AnyArray:
    """Rays with a neighbour, one or two steps away, that met another sheet."""
    edge = np.zeros(sheets.shape, bool)
    for step in (1, 2):
        for axis in (0, 1):
            changed = np.take(sheets, range(step, sheets.shape[axis]), axis) != np.take(
                sheets, range(sheets.shape[axis] - step), axis
            )
            pad = [(0, 0), (0, 0)]
            pad[axis] = (0, step)
            before = np.pad(changed, pad)
            pad[axis] = (step, 0)
            edge |= before | np.pad(changed, pad)
    return edge


def _footprint(
    scene: Packed,
    instrument: Instrument,
    random: np.random.Generator,
    index: int,
    place: Floats,
    stand: Floats,
    rays: Floats,
    ranges: Floats,
    luck: Floats,
) -> Floats:
    """Range of a beam of finite width: the mean of what it lights where that is near, else one part or a mixture."""
    radius = 0.5 * (instrument.beam_m / np.maximum(ranges, 0.3) + instrument.divergence)
    side = np.cross(rays, np.array([0.0, 0.0, 1.0]))
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-9)
    other = np.cross(rays, side)
    lit = [ranges]
    for turn in np.arange(6) * math.pi / 3:
        beam = rays + 0.6 * radius[:, None] * (math.cos(turn) * side + math.sin(turn) * other)
        beam /= np.linalg.norm(beam, axis=1, keepdims=True)
        lit.append(trace_all(scene, index, place, beam @ stand.T, FAR_M, luck)[0])
    lengths = np.stack(lit, axis=1)
    lengths = np.where(lengths >= FAR_M, ranges[:, None], lengths)
    nearest = lengths.min(axis=1, keepdims=True)
    front = lengths < nearest + 0.05
    share = front.mean(axis=1)
    first = (lengths * front).sum(axis=1) / front.sum(axis=1)
    last = np.where(share < 1, (lengths * ~front).sum(axis=1) / np.maximum((~front).sum(axis=1), 1), first)
    mixed = random.random(len(rays)) < 0.35
    return np.asarray(np.where(mixed, share * first + (1 - share) * last, np.where(share >= 0.5, first, last)))


def median_range(scene: Packed, index: int, place: Floats) -> float:
    """Median range from a place to what stands about it, at least LEAST_REFERENCE_M."""
    turn = np.linspace(0, 2 * math.pi, 721)
    e = np.repeat(np.array([-0.3, 0.0, 0.2]), len(turn))
    a = np.tile(turn, 3)
    rays = np.stack([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)], axis=1)
    ranges, sheets = trace_all(scene, index, place, rays, FAR_M, np.ones(len(rays)))
    return max(float(np.median(ranges[sheets >= 0])), LEAST_REFERENCE_M)


def path_of(building: Building, positions: int) -> Floats:
    """Where a handheld scanner is at each of `positions` moments, (n, 3): along the room's path, swaying a little."""
    corners = np.asarray(building.room.path or building.room.stations, float)
    if len(corners) == 1:
        step = np.array([0.4, 0.0, 0.0])
        corners = np.concatenate([corners - step, corners + step])
    share = np.linspace(0, len(corners) - 1, positions)
    track = np.stack([np.interp(share, np.arange(len(corners)), corners[:, k]) for k in range(3)], axis=1)
    sway = np.linspace(0, 6 * math.pi, positions)
    return track + 0.12 * np.stack([np.sin(sway), np.cos(1.3 * sway), 0.5 * np.sin(0.7 * sway)], axis=1)


def _handheld(
    building: Building, scene: Packed, instrument: Instrument, random: np.random.Generator
) -> Iterator[StationScan]:
    places = path_of(building, instrument.positions)
    drift = _drift(instrument, random)
    turn, offset = scan_from_room(building)
    for i, place in enumerate(places):
        station = min(i * len(building.room.stations) // len(places), len(building.room.stations) - 1)
        step = instrument.spacing_m / median_range(scene, station, place) * math.sqrt(instrument.positions / 3)
        stand = _about_z(random.uniform(0, 2 * math.pi)) @ _tilt(20.0, random)
        tilted = replace(instrument, lowest_deg=-89.0)
        points, escaped, intensity = _sweep(scene, tilted, random, station, place, stand, step, step)
        yield StationScan(
            f"position {i + 1}", points, escaped, intensity, turn @ stand, turn @ place + offset + drift[i], place
        )


def _drift(instrument: Instrument, random: np.random.Generator) -> Floats:
    """A smooth wander of the pose: a few slow waves, `drift_m` root mean square in length."""
    moment = np.linspace(0, 1, instrument.positions)[:, None]
    waves = sum(
        (random.normal(0, 1 / k, 3) * np.sin(2 * math.pi * (k * moment / 2 + random.random(3))) for k in (1, 2, 3)),
        np.zeros((instrument.positions, 3)),
    )
    waves = waves - waves.mean(axis=0)
    return np.asarray(waves * (instrument.drift_m / max(math.sqrt(float((waves**2).sum(axis=1).mean())), 1e-12)))


def _about_z(angle: float) -> Floats:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _tilt(degrees: float, random: np.random.Generator) -> Floats:
    """A tilt by `degrees` about a random level axis."""
    if degrees == 0.0:
        return np.eye(3)
    heading = _about_z(random.uniform(0, 2 * math.pi))
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.asarray(heading @ np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]]) @ heading.T)


def _small_turn(angles: Floats) -> Floats:
    x, y, z = angles
    turn = np.eye(3) + np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    u, _, v = np.linalg.svd(turn)
    return np.asarray(u @ v)
