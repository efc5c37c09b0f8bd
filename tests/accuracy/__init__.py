"""How well unfold measures rooms whose truth is known exactly.

    python -m tests.accuracy --rooms all --seeds 5 [--profile tripod|handheld] [--spacing-mm 6] [--out docs/accuracy.md]
    python -m tests.accuracy --rooms box,bay --seeds 1 --spacing-mm 12 --details

simulates rooms, runs the stages of `unfold run` that measure (all but layout and drawings) on each scan, holds the job
folder against the truth, and writes one table with every figure of the accuracy goals. A measured wall is matched to a
true one by where it is, never by its id.

Conventions. Wall is "seen" where a ray reaches it and "well seen" where the points of one station leave no gap over
50 mm; what is seen but not well is asked for neither as wall nor as unseen. "Observed" outline is what has well seen
wall within 30 mm; edges of kind `end` are left out, for there the scan just stops. Areas within 30 mm of the border of
what was seen are not counted as seen or unseen. An opening with less than seven tenths of well seen wall within 30 mm
around it is neither asked for nor counted as invented.
"""
