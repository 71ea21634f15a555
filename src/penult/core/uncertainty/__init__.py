"""How sure a value is: Monte Carlo draws through the whole chain (JCGM 101), and what comes out of them.

In: joints, camera, what is known of their faults. Out: draws; a value with its u95.
It may not know which measure it serves.
"""
