"""The run: readings, commands and time in; events out. Nothing here knows a clock, a file or a screen."""
