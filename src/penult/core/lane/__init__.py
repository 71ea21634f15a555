"""The calibrated lane: marks of known place become a camera, and how far it can be trusted.

In: marks and a taped distance. Out: a `Calibration`, rays, places, advice.
It may not know of clips, frames or bodies.
"""
