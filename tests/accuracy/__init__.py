"""How well unfold measures rooms whose truth is known exactly.

    python -m tests.accuracy --rooms all --seeds 5 [--profile tripod|handheld] [--spacing-mm 6] [--out docs/accuracy.md]
    python -m tests.accuracy --rooms box,bay --seeds 1 --spacing-mm 12 --details

simulates rooms, runs the stages of `unfold run` that measure (all but layout and drawings) on each scan, holds the job
folder against the truth, and writes one table with every figure of the accuracy goals. A measured wall is matched to a
true one by where it is, never by its id.

Conventions. "Observed" outline is what has seen wall within 30 mm; edges of kind `end` are left out, for there the
scan just stops. Areas near the border of what was seen (30 mm) are not counted as seen or unseen. An opening that lies
less than seven tenths in seen wall is neither asked for nor counted as invented.
"""
