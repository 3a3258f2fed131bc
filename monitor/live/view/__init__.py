"""A session on a terminal: what is known, in words, lines and a small trace."""
