"""How many sheets the parts need at the least: bounds that no nesting can beat."""

import math

from unfold.layout.packing_search import Job


def fewest_sheets(job: Job) -> int:
    """Bound the number of sheets from below by area; several kinds count as the largest."""
    if not job.sheets or len(job.sizes) == 0:
        return 0
    fitting = job.fits(0)
    for kind in range(1, len(job.sheets)):
        fitting = fitting | job.fits(kind)
    if not fitting.any():
        return 0
    largest = max(int(sheet.size.prod()) for sheet in job.sheets)
    area = sum(int(size.prod()) for size in job.sizes[fitting])
    return max(1, math.ceil(area / largest))
