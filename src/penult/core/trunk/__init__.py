"""The trunk from its own pixels: its motion in a flight, and the height of the hips from step to step.

In: pictures of the trunk, and joints. Out: motions, hips and shoulders carried by them.
It may not know of events or measures.
"""
