"""What leather costs: by the foot, by the piece, by the set, in exact decimals."""
