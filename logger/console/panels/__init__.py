"""What each part of the screen shows: pure functions from a snapshot and a size to text."""
