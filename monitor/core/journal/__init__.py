"""The journal's records: their words, how they are checked, and what they tell of a session."""
