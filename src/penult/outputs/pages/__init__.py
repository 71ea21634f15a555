"""Pages that can be sent or printed: summary, session, comparison, season.

In: records and drawings. Out: HTML.
It may not measure.
"""
