"""Hours of a treatment: step tables, three-point estimates, learning from the hours that jobs took."""
