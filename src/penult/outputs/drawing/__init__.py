"""What is drawn for each measure, said once: shapes between named places, for whoever draws them.

`shapes` is the vocabulary and the geometry, `measures` the list. Stills and film draw the shapes with `pictures.ink`, the local
pages with their canvas; both get the same shapes, so that a measure looks the same wherever it is drawn.
"""
