"""Clips as files (PyAV): frames with their own times, upright; films written.

In: paths. Out: `Clip` records and frames.
It may not know what is in the picture.
"""
