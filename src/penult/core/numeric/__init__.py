"""Fits and slopes of short stretches of numbers.

In: arrays. Out: values with their spread.
It may not know what the numbers stand for.
"""
