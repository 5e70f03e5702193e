"""Pattern pieces: outlines from an SVG or DXF drawing or from a photo of card templates, and their rules.

Drawings and pixels to outlines in mm and `PieceRules`. Only `file` reads disk; knows nothing of hides.
"""
