"""The calculation core: what a compost pile is doing and when it will be done.

Pure functions and frozen values. No clock, no input or output, no words for people:
SI units inside, the unit in every name, times and seeds are arguments.
"""
