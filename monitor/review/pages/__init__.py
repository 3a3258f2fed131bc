"""The pages: one session, several side by side, a season; their pictures and their type. Numbers are made outside, in review."""
