"""The command line, the only place that joins the worlds. Everything heavy is imported inside a command."""
