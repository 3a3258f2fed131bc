"""The darkness test with coins on film: how it is done, what was seen, and whether a room still counts as tested."""
