"""Which leather suits a project, and what not to do to it."""
