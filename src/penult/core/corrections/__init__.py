"""What a person put right, put into the chain: contacts, joints, clock; and its history.

In: corrections and what was seen in the film. Out: the result as corrected.
It may not open a film.
"""
