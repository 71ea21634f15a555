"""Files at the boundary: lanes, results, corrections, sessions, marks, pictures.

In: paths. Out: records, with every fault of a file named at once.
It may not compute.
"""
