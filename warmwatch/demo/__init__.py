"""The invented vehicle: a thermal model, a driver, and control units that answer on a CAN bus.

Every number in this package is our own invention, chosen to be plausible; none is taken from a
vehicle. It exists so that the program can be tried, and tested, without one.
"""
