"""The state folder: which one it is, and files in it that are only ever appended to."""
