"""What a hide gained from one map to the next: strain along and across its back, with its uncertainty.

Maps and pixels to strains, lines of text and a picture. Touches no disk.
"""
