"""Files of any open format become a stream of points in metres, with the stations they were seen from."""

from unfold.scan.stream import Scan, open_scan

__all__ = ["Scan", "open_scan"]
