"""A result's folder: its files, built aside and swapped in whole.

In: an analysis. Out: files.
It is the only writer of results.
"""
