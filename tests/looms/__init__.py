"""Random looms, true copper with faults, an independent dense solve, simulated readings and a checker.

Nothing here shares code with the diagnosis: it is the truth side of the scores and the laws.
"""
