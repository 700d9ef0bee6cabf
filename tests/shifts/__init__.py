"""Simulated shifts: the real service and store on a simulated bench in virtual time, with random faults."""
