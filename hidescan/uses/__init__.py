"""What a map is used for: stretch, pieces, placing, cost and advice."""
