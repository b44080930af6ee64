"""What is kept of a run: samples, events, summary, pictures."""
