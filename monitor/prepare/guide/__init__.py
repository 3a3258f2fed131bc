"""What to buy, the water, the drying: advice for a beginner, each statement with its reason."""
