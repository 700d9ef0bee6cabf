"""The console in plain lines. What a line does is here; how lines come and go is in `line_mode`."""
