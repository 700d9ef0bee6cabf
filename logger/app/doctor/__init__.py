"""`lastgrain doctor`: looks at everything a bench needs, and says of each fault where it is and what to do."""
