"""A runner with known answers, for tests, documentation and self-checks.

In: a plan of steps. Out: exact joints, what a camera sees of them, every measure's true value.
It may not use what it is there to test.
"""
