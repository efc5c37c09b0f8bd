"""The job folder: the only place that knows its file names, how they are written, checked, read and published.

    JOB/elevations.json flatness.json layout.json job.toml
    JOB/surfaces/W1.npz                      height map and ray evidence of a wall
    JOB/heatmaps/W1.png
    JOB/drawings/W1.dxf room.dxf plan.png    the walls as they are
    JOB/panels/                              the walls as they will be clad
    JOB/cut/                                 what is cut
    JOB/report.html report.pdf
"""
