"""Thickness from light: a hide photographed with light behind it, laid on its map.

In: a map, a backlit photo, perhaps the photo of the light without the hide, gauge readings. Out: where how much light
came through, in the map's own photo; the thickness that follows, with ±; thin spots. Touches no disk.
"""
