"""Recovery: naming a label from what is left of it, far beyond error correction.

``recover`` is the door; DEVELOPERS.md shows what it reads and at which risk.
"""
