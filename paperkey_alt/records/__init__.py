"""What was printed, and what is due."""
