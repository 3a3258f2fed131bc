"""The pure core: no clock, no input or output, no threads, standard library only. Time comes in as an argument."""
