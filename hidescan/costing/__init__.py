"""What leather costs: by the foot, by the piece, by the set, in exact decimals.

Maps, a price and a placing to figures and lines of text. Touches no disk.
"""
