"""Edges and corners of a box conduct heat in addition to its faces.

Conduction shape factors of I. Langmuir, E. Q. Adams and G. S. Meikle, Trans. Am. Electrochem. Soc. 24 (1913) 53, as in
Incropera table 4.1: an edge of length D between two walls at right angles adds 0.54 D, a corner adds 0.15 L (L the
wall's thickness), both times k ΔT, for inside lengths above a fifth of the thickness.
"""

#: Langmuir's rounded terms. For two equal walls at right angles the edge's exact one is 1 − (2/π) ln 2 = 0.5587.
EDGE = 0.54
CORNER = 0.15
