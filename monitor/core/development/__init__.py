"""From readings to development done: the rate law, the estimator, its forecast and its doubt."""
