"""The logbook: one SQLite file that a coach can copy.

In: trials, people, notes. Out: the same, and CSV folders.
It may not know how a clip is measured.
"""
