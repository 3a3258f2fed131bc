"""The negatives of a person: numbers, what was done with each, notes on exposure; and the arithmetic of exposure."""
