"""The command `python -m tests.simulate`."""

import argparse
from dataclasses import replace
from pathlib import Path

from tests.simulate.generate import room_named, simulate
from tests.simulate.rooms import ROOMS
from tests.simulate.scanner import PROFILES


def main() -> None:
    """Simulate one room, or list them."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulate", description=__doc__)
    parser.add_argument("room", nargs="?", help="one of --list, or random_N, rims_N: the Nth of a kind drawn at random")
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--profile", choices=sorted(PROFILES), default="tripod")
    parser.add_argument("--spacing-mm", type=float)
    parser.add_argument("--stations", type=int)
    parser.add_argument("--format", choices=("e57", "ply", "xyz", "laz"))
    args = parser.parse_args()
    if args.list or args.room is None:
        for name, maker in ROOMS.items():
            print(f"{name:20s} {maker().description}")
        return
    instrument = PROFILES[args.profile]
    if args.spacing_mm is not None:
        instrument = replace(instrument, spacing_m=args.spacing_mm / 1000)
    truth = simulate(
        room_named(args.room), args.out or Path(args.room), instrument, args.seed, args.format, args.stations
    )
    print(f"{truth['points']} points, {len(truth['walls'])} walls in {args.out or args.room}")


if __name__ == "__main__":
    main()
