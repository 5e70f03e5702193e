"""The command line: one file a command; a person's options in, text and an exit code out."""
