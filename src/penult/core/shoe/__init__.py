"""One contact from the pictures of its shoe: when it bears, where its edges are, how high the surface is.

In: small pictures of a foot's surroundings, square in metres. Out: a `ShoeContact`, or why there is none.
It may not know of joints, lanes or other contacts of another athlete.
"""
