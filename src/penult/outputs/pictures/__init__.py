"""Pictures and film with body, runway and measures drawn in.

In: a frame and the analysis. Out: pixels.
It may not know of pages.
"""
