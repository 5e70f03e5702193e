"""Where pieces go on hides: rules, exact free positions, search, judgement, offcuts, and the placing file."""
