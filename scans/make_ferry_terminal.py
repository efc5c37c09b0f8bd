"""Make the demo scan and its truth, byte for byte the same: `python -m scans.make_ferry_terminal` in the root folder.

Nobody scanned this hall: it is simulated, with rays cast exactly against smooth, bowed walls, 1 mm range noise,
mixed points at edges, a window that lets most rays out, people who walk through and 0.2 mm of registration error.
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from tests.simulate.building import build
from tests.simulate.e57_writer import write_e57
from tests.simulate.room import RoomPlan
from tests.simulate.rooms.terminal import ferry_terminal
from tests.simulate.scanner import TRIPOD, Instrument, measure
from tests.simulate.truth import truth_of

SCAN = Path(__file__).parent / "ferry_terminal_ticket_hall.e57"
TRUTH = Path(__file__).parent / "ferry_terminal_ticket_hall.truth.json"
SEED = 1843
STEP_M = 0.0002  # of stored coordinates
INSTRUMENT: Instrument = replace(TRIPOD, spacing_m=0.017, lowest_deg=-48.0, highest_deg=56.0)


def main() -> None:
    """Write scan and truth beside this file."""
    room: RoomPlan = ferry_terminal()
    building = build(room)
    points = write_e57(SCAN, list(measure(building, INSTRUMENT, SEED)), room.description, STEP_M, intensity=False)
    document, _ = truth_of(building, INSTRUMENT)
    document |= {"simulated": True, "scan": SCAN.name, "seed": SEED, "points": points}
    TRUTH.write_text(json.dumps(_rounded(document), separators=(",", ":")) + "\n")
    print(f"{SCAN.name}: {points} points, {SCAN.stat().st_size} bytes")


def _rounded(value: Any) -> Any:
    """Lengths in millimetres to a micrometre, in metres and directions to nine digits, so that the file stays small."""
    if isinstance(value, float):
        return round(value, 9 if abs(value) < 20 else 3)
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list) else value


if __name__ == "__main__":
    main()
