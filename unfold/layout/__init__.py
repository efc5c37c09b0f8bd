"""Elevations become treatments, joints, panels and sheets."""
