"""Questions to pictures (OpenCV): background, movers, markers, patches of foot and trunk, veils.

In: pictures. Out: arrays and records.
It may not decide what they mean.
"""
