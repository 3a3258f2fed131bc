"""What to buy, water, drying, ways of developing, hazards: advice for a beginner, each statement with its reason."""
