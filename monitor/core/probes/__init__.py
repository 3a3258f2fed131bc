"""What a probe says: readings with a quality, and what has been learned about a probe."""
