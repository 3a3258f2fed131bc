"""Water and solutions: mixing, tempering, powders, and how the bath will drift."""
