"""From a file to blocks of samples."""

from tracekit.read.opening import open_log

__all__ = ["open_log"]
