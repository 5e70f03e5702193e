"""The process that decodes photos and maps them for the page, with a limit on its memory."""
