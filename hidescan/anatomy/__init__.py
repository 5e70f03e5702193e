"""What an outline is as a hide: form, mirror axis, back line, neck end, zones, thickness, species.

Plan view in mm to parts in trade names. Touches no disk.
"""
