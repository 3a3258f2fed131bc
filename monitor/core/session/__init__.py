"""A session: stages, presses, sounds, and what is written down, as a function of events in time."""
