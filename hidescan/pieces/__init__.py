"""Pattern pieces: outlines from an SVG or DXF drawing or from a photo of card templates, and their rules."""
