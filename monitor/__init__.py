"""evenbath: the pure core, what surrounds it before, during and after a session, and the command line."""

__version__ = "0.1.0"
