"""The endpoint of a run: live loss rate with its uncertainty, feasibility and forecast."""
