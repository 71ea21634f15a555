"""The version of the method: one number for everything that can move a value."""

METHOD = 7
"""To be raised by one whenever a value can move, in the very commit that moves it: a fit, a constant, the frames that the
pose model looks at, a rule by which a value is withheld. It stands in every result, in the name of everything kept between
runs and in the logbook, so that a result of another method is never taken for one of this. The golden test over the samples
(tests/end_to_end/test_golden.py) fails when numbers move and this did not; `python tests/golden.py --write` then writes
the new ones. A result without a number is older than 1."""
