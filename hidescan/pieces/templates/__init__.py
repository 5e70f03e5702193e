"""Pattern pieces from a photo of card templates: outlines at true scale, the grain from an inked arrow."""
