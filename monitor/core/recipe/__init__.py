"""The recipe as values, the rule of light, and the list that is gone through before the film."""
