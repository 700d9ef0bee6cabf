"""The service: one owner of the instruments and of the run. It sees ports only and outlives its screens."""
