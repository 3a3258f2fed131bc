"""The station's process: the thread that owns the session, and the threads that serve it."""
