"""Reading, judging and rehearsing flows."""
