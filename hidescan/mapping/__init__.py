"""What the stages found, checked and put together into one `HideMap`. Touches no disk."""
