"""A simulator of rooms whose truth is known exactly, for tests.

    python -m tests.simulate --list
    python -m tests.simulate ROOM_NAME --seed 0 --out FOLDER [--profile tripod|handheld] [--spacing-mm 6]
        [--stations N] [--format e57|ply|xyz|laz]

writes FOLDER/scan.e57 (or .ply, .xyz, .laz) and FOLDER/truth.json, and FOLDER/truth_heights.npz with each wall's true
heights. Two plain calls do the same in a test:

    room = room_named("box")
    truth = simulate(room, folder, instrument=TRIPOD, seed=0)

The walls' surfaces are smooth functions (bow, twist, ripple, bump), and rays meet them exactly, not on facets.
`spacing_m` is the spacing of points at the median range from each station: nearer walls get denser points.

truth.json has the fields of elevations.json for each wall (frame, outline, edges, openings, unseen) and the fields of
flatness.json under "flatness"; its walls are named T1, T2, ... in the order of the description. `up` of a true frame
is plumb, and the true surface is u, v and height over that upright plane (or cylinder): a wall's lean is in its
heights. Match measured walls to true ones by where they are, never by their ids.
"""

from tests.simulate.generate import room_named, simulate
from tests.simulate.scanner import HANDHELD, PROFILES, TRIPOD, Instrument

__all__ = ["HANDHELD", "PROFILES", "TRIPOD", "Instrument", "room_named", "simulate"]
