"""Where the camera of a clip stood and looked, against its calibration still.

In: background points seen in both pictures. Out: the camera of every frame, or why there is none.
It may not know who runs.
"""
