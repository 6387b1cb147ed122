"""Loads all that a worker needs, and the frame of the pages, before workers are copied from this process."""

from tracekit.fleet.processes import here_to_stay

with here_to_stay():
    from tracekit.fleet import batch
    from tracekit.report.frame import prepare

    prepare()

__all__ = ["batch"]
