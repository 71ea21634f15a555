"""What may be wrong with clip, clock, scale or place before a number is believed.

In: evidence. Out: warnings, and what must be withheld.
It may not change a value.
"""
