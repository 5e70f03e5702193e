"""One map from several photos of a hide that lies still, with the cards left where they lie.

Cards and rims of each photo to one adjustment (`bundle`), one rim with its height (`region_vote`, `strip`, `rims`,
`seams`), each mark once (`seen_marks`), and one `HideMap` (`joined`); `moved` refuses what was moved, `coverage`
names the sides not seen yet. Touches no disk.
"""
