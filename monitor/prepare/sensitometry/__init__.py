"""Film tests: the curve of a step wedge, the growth of contrast with time, and small tests on a piece of the film."""
