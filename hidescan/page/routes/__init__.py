"""The addresses that the page serves."""
