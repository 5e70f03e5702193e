"""PDF at full size: on one page, or tiled over sheets, each with a bar to check the print by."""
