"""A simulated world behind the same doors as the real one: bath, vessel, probes with lag and faults, a virtual 1-Wire tree."""
