"""Recipes: new ones from blanks, rates from pairs, read back, and compared with the last time."""
