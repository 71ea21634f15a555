"""Many clips: groups, comparison, season, and the statistics under them.

In: trials with their values. Out: differences with intervals and plain verdicts.
It may not know how a value was measured.
"""
