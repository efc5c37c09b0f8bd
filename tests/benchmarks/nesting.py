"""Print the nesting's figures on the published classes as a table: `python -m tests.benchmarks.nesting`."""

import math
import time

import numpy as np

from tests.layout.bin_packing_classes import BIN_SIDE, instance
from unfold.layout.nesting import CuttingRules, Part, StockSheet, nest_panels, quick_sheet_bound

ITEMS = (20, 60, 100)
DRAWS = 10


def class_figures(number: int, may_turn: bool, guillotine: bool) -> tuple[int, int, int, float]:
    """Sheets used, area bound, best bound and seconds, summed over the draws of one class."""
    side = BIN_SIDE[number]
    stock, cutting = [StockSheet("S1", side, side, None)], CuttingRules(0.0, 0.0, guillotine)
    used = by_area = bound = 0
    start = time.process_time()
    for items in ITEMS:
        for draw in range(DRAWS):
            sizes = instance(number, items, draw)
            parts = [
                Part(str(index), np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]), may_turn)
                for index, (w, h) in enumerate(sizes.tolist())
            ]
            used += nest_panels(parts, stock, cutting).sheets_used["S1"]
            by_area += math.ceil(sizes.prod(axis=1).sum() / side**2)
            bound += quick_sheet_bound(parts, stock, cutting)
    return used, by_area, bound, time.process_time() - start


def main() -> None:
    """Print one row a class, for three ways of cutting."""
    class_figures(1, False, False)  # compiles
    print("| class | area | bound, straight | waterjet, straight | bound, turning | waterjet, turning | saw, turning |")
    print("|---|---|---|---|---|---|---|")
    totals = np.zeros(6)
    seconds = 0.0
    for number in range(1, 11):
        plain, turned, sawn = (class_figures(number, *how) for how in ((False, False), (True, False), (True, True)))
        row = np.array([plain[1], plain[2], plain[0], turned[2], turned[0], sawn[0]])
        totals += row
        seconds += plain[3] + turned[3] + sawn[3]
        print(f"| {number} | " + " | ".join(f"{value:.0f}" for value in row) + " |", flush=True)
    print("| all | " + " | ".join(f"{value:.0f}" for value in totals) + " |")
    print(f"\n{1000.0 * seconds / (10 * 3 * len(ITEMS) * DRAWS):.0f} ms of processor time an instance")


if __name__ == "__main__":
    main()
