"""Pictures as SVG text: scales, lines, words that do not stand on each other. Knows nothing of sessions; the standard library alone."""
